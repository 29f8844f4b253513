// Goes through every world that can be reached, breadth first, and holds each against what must always be so; then
// through all of them without any fault, where every way must come to an end, and every end must be a good one.

import { newServer, placeOf, rowOf, standing } from "./server.js";
import { scenarios } from "./scenarios.js";
import { World } from "./world.js";

export const names = Object.keys(scenarios);

/** Check a scenario; return {worlds, moves, ends, problem}, where a problem tells the way there. */
export function check({ rules, record }, name) {
  const world = new World(rules, scenarios[name]);
  const worlds = []; // {world, from, by, calm}: how it was come by, and where its faultless moves lead
  const places = new Map();
  const told = { worlds: 0, moves: 0, ends: 0, problem: null };
  const place = (next, from, by) => {
    const key = world.key(next);
    if (!places.has(key)) places.set(key, worlds.push({ world: next, from, by, calm: [] }) - 1);
    return places.get(key);
  };
  place(world.first(newServer()), -1, "");
  for (let at = 0; at < worlds.length; at++) {
    const one = worlds[at];
    for (const { name: by, isFault, make } of world.movesOf(one.world)) {
      told.moves += 1;
      const to = place(make(), at, by);
      if (!isFault) one.calm.push(to);
    }
    const isEnd = one.calm.length === 0;
    told.ends += Number(isEnd);
    const wrong = wrongAlways(one.world) ?? (isEnd ? wrongAtEnd(one.world, record) : null);
    if (wrong) return { ...told, worlds: worlds.length, problem: tell(worlds, at, wrong) };
    one.world = null; // it is gone through
  }
  const round = circle(worlds);
  return { ...told, worlds: worlds.length, problem: round < 0 ? null : tell(worlds, round, "it goes round without end") };
}

function tell(worlds, place, wrong) {
  const way = [];
  for (let at = place; at > 0; at = worlds[at].from) way.unshift(worlds[at].by);
  return { wrong, way };
}

/** A world on a circle of faultless moves, or -1: worlds without such moves are taken away until none is left. */
function circle(worlds) {
  const left = worlds.map((one) => one.calm.length);
  const before = worlds.map(() => []);
  worlds.forEach((one, place) => one.calm.forEach((to) => before[to].push(place)));
  const over = left.flatMap((count, place) => (count ? [] : [place]));
  for (let at = 0; at < over.length; at++) {
    for (const place of before[over[at]]) if (--left[place] === 0) over.push(place);
  }
  return over.length === worlds.length ? -1 : left.findIndex((count) => count > 0);
}

// -- what must be so ------------------------------------------------------------------------------------------------

/** What is wrong in a world, at any time: something lost, doubled, changed, or told otherwise than it is. */
function wrongAlways({ server, phones }) {
  const ids = server.order.map((row) => row.id);
  if (new Set(ids).size < ids.length) return "the server has something twice";
  for (const { entries, acts, done } of phones) {
    for (const act of acts) {
      const added = act.name.startsWith("adds ") && done.includes(act.name) ? act.name.slice(5) : null;
      if (added && !entries.some((entry) => entry.id === added)) return `${added} is lost`;
    }
    for (const entry of entries) {
      const row = server.rows[rowOf(entry)];
      const stored = server.order.find((one) => one.id === entry.id);
      if (entry.state === "taken" && row !== "taken") return `${entry.id} is told as taken, and is not`;
      if (entry.state === "taken" && JSON.stringify(stored.body) !== JSON.stringify(entry.body)) return `${entry.id} was changed`;
      if (entry.state === "mended" && !stored) return `${entry.id} is told as mended, and nothing stands in for it`;
      if (entry.state === "taken" && (entry.told === "contested") !== stored.isContested) return `${entry.id} is contested, and not told so`;
    }
  }
  return null;
}

/** What is wrong where nothing goes on by itself: something not sent, or seen otherwise on a phone than on the server. */
function wrongAtEnd({ server, phones, net }, record) {
  if (net.length) return "something is under way for ever";
  const stands = standing(server).map((row) => row.id).sort().join();
  const points = standing(server).map((row) => row.body.point);
  if (new Set(points).size < points.length) return `a point that was read once stands twice: ${stands}`;
  for (const [at, { entries, day, acts, done }] of phones.entries()) {
    const open = entries.find((entry) => !["taken", "mended"].includes(entry.state));
    if (open) return `${open.id} of phone ${at} is ${open.state} for ever`;
    const skipped = acts.find((act) => act.name.startsWith("adds") && !done.includes(act.name));
    if (skipped) return `phone ${at} never ${skipped.name}`;
    if (!day) return `phone ${at} has no day`;
    const sees = record.surveysOf(day.place, entries).flatMap((survey) => survey.readings.map((row) => row.id)).sort().join();
    if (sees !== stands) return `phone ${at} sees ${sees}, the server has ${stands}`;
  }
  return placeOf(server, []).open_surveys.length === 1 ? null : "there is not one survey";
}
