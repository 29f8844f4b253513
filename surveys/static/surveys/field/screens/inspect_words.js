// What is called what at an inspection: grades, kinds, parts, figures. Functions, as the language is chosen at run time.

import { fill, gettext } from "../words.js";

const one = (words, code) => words[code] ?? code;

export const gradeWords = (code) =>
  one({ ok: gettext("OK"), note: gettext("note"), fix: gettext("fix"), stop: gettext("stop") }, code);

export const supportKinds = () => ({
  frame: gettext("main beam"),
  perimeter: gettext("perimeter"),
  mate_line: gettext("mate line"),
  opening: gettext("beside an opening"),
});

export const footings = () => ({
  poured: gettext("poured concrete"),
  precast: gettext("precast concrete"),
  runner: gettext("concrete runner"),
  abs: gettext("listed plastic pad"),
  wood: gettext("treated wood"),
  bare: gettext("bare ground"),
});

export const tiers = () => ({
  single: gettext("single stack"),
  double: gettext("double, interlocked"),
  engineer: gettext("engineer's design"),
});

export const connectionKinds = () => ({
  drain: gettext("drain"),
  water: gettext("water riser"),
  gas: gettext("gas line"),
  duct: gettext("duct crossover"),
  electric: gettext("electric feeder"),
  telecom: gettext("telecom"),
  steps: gettext("steps or porch"),
  skirting: gettext("skirting"),
  chimney: gettext("masonry chimney"),
  ac: gettext("AC lines"),
});

export const travelMeasured = () => ({
  not_measured: gettext("not measured"),
  by_hand: gettext("moved by hand"),
  tape: gettext("measured with a tape"),
  flex: gettext("flexible: listed length"),
});

export const tensionMethods = () => ({
  look: gettext("looked at, pulled by hand"),
  pluck: gettext("plucked: the pitch it rings at"),
  gauge: gettext("tension gauge"),
});

export const anchorKinds = () => ({
  auger: gettext("auger"),
  cross_drive: gettext("cross-drive (rock)"),
  slab: gettext("in slab"),
  driven: gettext("driven plate"),
});

export const hazardKinds = () => ({
  dog: gettext("dog"),
  gas_smell: gettext("smell of gas"),
  wiring: gettext("bare or wet wiring"),
  wet_ground: gettext("wet ground, standing water"),
  soft_ground: gettext("soft ground"),
  sewage: gettext("sewage"),
  rodents: gettext("rodents"),
  wasps_spiders: gettext("wasps, spiders"),
  snakes: gettext("snakes"),
  asbestos_lead: gettext("asbestos or lead suspected"),
  other: gettext("other"),
});

export const partWords = () => ({
  shims: gettext("pair of shims"),
  plate_1x: gettext("1-by plate"),
  plate_2x: gettext("2-by plate"),
  cap_2in: gettext("2 in cap"),
  cap: gettext("4 in cap"),
  block: gettext("block"),
});

export const figureWords = () => ({
  gap_in: gettext("gap at the wedge"),
  height_in: gettext("footing to beam"),
  clearance_in: gettext("ground to frame"),
  offset_in: gettext("lean, top off its bottom"),
  has_sunk: gettext("has sunk since it was set"),
  footing: gettext("footing"),
  footing_length_in: gettext("footing along the home"),
  footing_width_in: gettext("footing across"),
  footing_thickness_in: gettext("footing, how thick"),
  tier: gettext("how it is built"),
  stack: gettext("courses"),
  free_up_in: gettext("free upwards"),
  free_down_in: gettext("free downwards"),
  measured: gettext("how it was measured"),
  slack_in: gettext("slack"),
  tension_lb: gettext("tension by the gauge"),
  frequency_hz: gettext("pitch"),
  mode: gettext("half waves"),
  free_length_in: gettext("length that swings"),
});

/** Words that can be tapped instead of typed, by the kind of thing. */
export const usualWords = (kind) =>
  one(
    {
      support: [
        gettext("wedge loose"),
        gettext("shims backed out"),
        gettext("cap broken"),
        gettext("block cracked"),
        gettext("wood crushed"),
        gettext("leans"),
        gettext("footing cracked"),
        gettext("washed out below"),
      ],
      strap: [gettext("loose"), gettext("rusted"), gettext("cut or kinked"), gettext("anchor head high"), gettext("plate missing")],
      connection: [gettext("leaks"), gettext("rigid, no play"), gettext("pulled tight"), gettext("could not be reached")],
      drain_run: [gettext("leaks"), gettext("sags"), gettext("hanger missing"), gettext("joint pulled apart")],
      item: [gettext("could not be seen")],
    },
    kind,
  );

export const kindHeads = () => ({
  support: gettext("Supports"),
  strap: gettext("Straps and anchors"),
  connection: gettext("Connections"),
  drain_run: gettext("Drain runs"),
  item: gettext("The home as a whole"),
});

/** What a thing is called on its screen and in lists. */
export function titleOf(thing) {
  const { kind, title, row } = thing;
  if (kind === "strap") return fill(gettext("strap {code}"), { code: title });
  if (kind === "connection") return `${one(connectionKinds(), row.kind)} ${title}`;
  if (kind === "drain_run") return fill(gettext("drain run {code}"), { code: title });
  return title;
}

/** 14 of 45 supports */
export function progressWords({ kind, done, count }) {
  const sentences = {
    support: gettext("{done} of {count} supports"),
    strap: gettext("{done} of {count} straps"),
    connection: gettext("{done} of {count} connections"),
    drain_run: gettext("{done} of {count} drain runs"),
    item: gettext("{done} of {count} things of the home"),
  };
  return fill(sentences[kind], { done, count });
}

/** What follows where the work is stopped, said before it is saved. */
export const stopFollows = (kind) =>
  kind === "support"
    ? gettext("Stop: no plan for this home is approved until this is looked at again and found better, or the manager signs past it. The support stays at stop until a crew lead says in words what was done.")
    : gettext("Stop: no plan for this home is approved until this is looked at again and found better, or the manager signs past it.");
