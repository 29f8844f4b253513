// A photo made small on the phone: upright, its long side at most 1600 points, a JPEG without what the camera wrote
// into it. How a camera held the phone is read here and taken out before the browser decodes the picture, so that it
// is turned once and alike in every browser.

const LONG_PX = 1600;
const THUMB_PX = 240;
const QUALITY = 0.8;
const ORIENTATION = 0x0112; // EXIF 2.3
// How a picture lies (EXIF 2.3, Orientation 2 to 8): what takes it upright, for a picture of w by h.
const TURNS = {
  2: (w) => [-1, 0, 0, 1, w, 0],
  3: (w, h) => [-1, 0, 0, -1, w, h],
  4: (w, h) => [1, 0, 0, -1, 0, h],
  5: () => [0, 1, 1, 0, 0, 0],
  6: (w, h) => [0, 1, -1, 0, h, 0],
  7: (w, h) => [0, -1, -1, 0, h, w],
  8: (w) => [0, -1, 1, 0, 0, w],
};

/** The file is no picture that this phone can read. */
export class NoPicture extends Error {}

/** Make a photo small: `{blob, thumb}`, both JPEG. */
export async function shrink(file) {
  const bytes = new Uint8Array(await file.arrayBuffer());
  const lies = layUpright(bytes);
  const bitmap = await decoded(new Blob([bytes], { type: file.type }));
  const upright = paint(bitmap, bitmap.width, bitmap.height, LONG_PX, lies);
  bitmap.close();
  const small = paint(upright, upright.width, upright.height, THUMB_PX, 1);
  try {
    return { blob: await jpeg(upright), thumb: await jpeg(small) };
  } finally {
    for (const canvas of [upright, small]) canvas.width = canvas.height = 0; // some phones keep its memory else
  }
}

async function decoded(blob) {
  try {
    return await createImageBitmap(blob);
  } catch (error) {
    throw new NoPicture(String(error));
  }
}

function paint(source, width, height, longPx, lies) {
  const scale = Math.min(1, longPx / Math.max(width, height));
  const [w, h] = [width, height].map((side) => Math.max(1, Math.round(side * scale)));
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = lies > 4 ? [h, w] : [w, h];
  const context = canvas.getContext("2d");
  context.fillStyle = "white"; // behind what is seen through
  context.fillRect(0, 0, canvas.width, canvas.height);
  context.imageSmoothingQuality = "high";
  if (TURNS[lies]) context.setTransform(...TURNS[lies](w, h));
  context.drawImage(source, 0, 0, w, h);
  return canvas;
}

const jpeg = (canvas) =>
  new Promise((resolve, reject) => {
    const done = (blob) => (blob ? resolve(blob) : reject(new NoPicture("no memory for it")));
    canvas.toBlob(done, "image/jpeg", QUALITY);
  });

/** Return how a JPEG lies, 1 to 8, and write into its bytes that it is upright; 1 for whatever says nothing. */
export function layUpright(bytes) {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  try {
    const at = exifAt(view);
    return at ? takeTurn(view, at) : 1;
  } catch (error) {
    if (error instanceof RangeError) return 1; // cut off in the middle
    throw error;
  }
}

// Where the EXIF block of a JPEG begins: among the segments before the picture itself.
function exifAt(view) {
  if (view.getUint16(0) !== 0xffd8) return 0;
  let at = 2;
  while (view.getUint8(at) === 0xff && view.getUint8(at + 1) !== 0xda) {
    const isExif = view.getUint16(at) === 0xffe1 && view.getUint32(at + 4) === 0x45786966; // "Exif"
    if (isExif) return at + 10;
    at += 2 + view.getUint16(at + 2);
  }
  return 0;
}

function takeTurn(view, start) {
  const isLittle = view.getUint16(start) === 0x4949; // "II"
  const first = start + view.getUint32(start + 4, isLittle);
  const count = view.getUint16(first, isLittle);
  for (let index = 0; index < count; index += 1) {
    const entry = first + 2 + index * 12;
    if (view.getUint16(entry, isLittle) !== ORIENTATION) continue;
    const lies = view.getUint16(entry + 8, isLittle);
    view.setUint16(entry + 8, 1, isLittle);
    return lies >= 1 && lies <= 8 ? lies : 1;
  }
  return 1;
}
