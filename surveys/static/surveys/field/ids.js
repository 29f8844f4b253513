// Keys and the phone's name. A key is a UUIDv7: made without signal, never twice, and roughly in the order of making.
// Order itself is told by the device's own count (see outbox.js), which no wrong clock can upset.

const LETTERS = "23456789abcdefghjkmnpqrstuvwxyz"; // none that is taken for another when it is read out

let last_ms = 0;
let count = 0;

/** Make a key. Within a millisecond, and after a clock that was set back, a count goes on where the last key stood. */
export function newId(now = Date.now()) {
  if (now > last_ms) {
    last_ms = now;
    count = random(2)[0] & 0x07;
  } else if (++count > 0xfff) {
    last_ms += 1;
    count = 0;
  }
  const bytes = random(16);
  for (let at = 0; at < 6; at++) bytes[at] = Math.floor(last_ms / 2 ** (8 * (5 - at))) & 0xff;
  bytes[6] = 0x70 | (count >> 8);
  bytes[7] = count & 0xff;
  bytes[8] = 0x80 | (bytes[8] & 0x3f);
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
}

/** Make up a name for a phone that has none yet: short enough to be read out, too long to be met twice. */
export function newDeviceName() {
  const letters = Array.from(random(10), (byte) => LETTERS[byte % LETTERS.length]).join("");
  return `phone ${letters.slice(0, 5)}-${letters.slice(5)}`;
}

const random = (count) => crypto.getRandomValues(new Uint8Array(count));
