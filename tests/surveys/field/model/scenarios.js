// What happens in the worlds of the model check: what each phone's crew enters, and when it can. An edition is one
// content of an entry; the `isBad` one is refused whenever it comes.

const always = () => true;
const stateOf = (phone, id) => phone.entries.find((entry) => entry.id === id)?.state;
const sees = (phone, id) => Boolean(phone.day?.place.open_surveys[0]?.standing_readings.some((row) => row.id === id));
const isRead = (phone) => Boolean(phone.day?.place.open_surveys[0]?.standing_readings.length);
const has = (id) => (phone) => stateOf(phone, id) !== undefined;

function add(id, kind, body, when = always, bodyOf = () => body) {
  const make = (phone) => [...phone.entries, made(phone.entries, { id, kind, body: { edition: 0, ...bodyOf(phone) } })];
  return { name: `adds ${id}`, when, make };
}

const made = (entries, { id, kind, body, mends = null }) => ({
  ...{ id, kind, body, mends, sequence: entries.length + 1, noted_at: "2026-03-03T12:00:00Z", author: "who" },
  ...{ edition: 0, state: "unsent", told: null, lacked: [], reason: null },
});

/** Mend an entry once it is set aside and can be mended by hand, with the body that is right. */
function mend(id, body, stands_in) {
  return {
    name: `mends ${id} by ${stands_in ?? "itself"}`,
    when: (phone) => isMendable(phone, id) && (!stands_in || isConflict(phone, id)) && (stands_in || !isConflict(phone, id)),
    make({ entries }, rules) {
      const { entry, added } = rules.mended(entries.find((one) => one.id === id), body, { reason: "mended" });
      const after = entries.map((one) => (one.id === id ? entry : one));
      return added ? [...after, made(after, { ...added, id: stands_in, body: { ...added.body, edition: 0 } })] : after;
    },
  };
}

const entryOf = (phone, id) => phone.entries.find((entry) => entry.id === id);
const isConflict = (phone, id) => entryOf(phone, id).told === "conflict";
// As rules.isMendable, which the scenarios can't call: an entry that only waits is not mended by hand.
const isMendable = (phone, id) => stateOf(phone, id) === "set_aside" && !entryOf(phone, id).lacked.length;

const SURVEY = { siting: "siting" };
const SETUP = { survey: "S", sense: "up" };
const READING = { setup: "T", point: "p", value: "1" };

export const scenarios = {
  // One phone starts a survey with a setup that is refused, reads and corrects; the other, once it sees the reading,
  // reads and corrects what it sees of it.
  "two phones": {
    most: 2,
    phones: [
      {
        acts: [
          add("S", "survey", SURVEY),
          add("T", "setup", { ...SETUP, isBad: true }, has("S")),
          add("R", "reading", READING, has("T")),
          mend("T", { ...SETUP, edition: 1 }),
          add("C", "reading", { ...READING, replaces: "R" }, (phone) => stateOf(phone, "R") === "taken"),
        ],
      },
      {
        acts: [
          add("D", "reading", READING, (phone) => sees(phone, "R") || sees(phone, "C"), (phone) => ({
            ...READING,
            replaces: sees(phone, "R") ? "R" : "C",
          })),
          add("Q", "reading", { ...READING, point: "q" }, has("D")),
        ],
      },
    ],
  },
  // A reading is corrected on one phone, and then the correction; the other corrects the reading too.
  "corrected twice": {
    most: 2,
    phones: [
      {
        acts: [
          add("S", "survey", SURVEY),
          add("T", "setup", SETUP, has("S")),
          add("R", "reading", READING, has("T")),
          add("C", "reading", { ...READING, replaces: "R" }, (phone) => stateOf(phone, "R") === "taken"),
          add("E", "reading", { ...READING, replaces: "C" }, has("C")),
        ],
      },
      { acts: [add("D", "reading", { ...READING, replaces: "R" }, (phone) => sees(phone, "R") || isRead(phone))] },
    ],
  },
  // Two tabs of one phone send whenever they like, as if there were no lock.
  "two tabs": {
    most: 2,
    phones: [
      {
        tabs: 2,
        acts: [
          add("S", "survey", SURVEY),
          add("T", "setup", { ...SETUP, isBad: true }, has("S")),
          add("R", "reading", READING, has("T")),
          mend("T", { ...SETUP, edition: 1 }),
        ],
      },
    ],
  },
  // What was refused is mended while a stray request may still bring its first content, which is allowed by then.
  "a clash": {
    most: 3,
    hasWord: true,
    phones: [
      {
        acts: [
          add("S", "survey", SURVEY),
          add("T", "setup", SETUP, has("S")),
          add("R", "reading", { ...READING, needsWord: true }, has("T")),
          mend("R", { ...READING, value: "2", edition: 1 }),
          mend("R", { ...READING, value: "2", edition: 1 }, "M"),
        ],
      },
    ],
  },
};
