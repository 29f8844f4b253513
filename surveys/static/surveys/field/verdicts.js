// What readings mean while the crew is still there: pairs against their tolerance as the service judges them
// (calcs/engine/flatness), a setup's misclosure against the noise of its method, and whether a value that was just typed
// jars with what else is known, so that it is better read again. Codes and inches only; screens find the words.

import { SENSES, expecting } from "./expecting.js";
import { below, quantile } from "./normal.js";

const EPSILON_IN = 1e-9;
const DOUBTFUL_SDS = 2;
const AGAIN_SDS = 3;
const JARS_SDS = 2.7;
const FITS_SDS = 1.5;
const TURNED_GAIN = Math.log(1000);
const LEAST_TO_TURN = 4;

// -- pairs ------------------------------------------------------------------------------------------------------------

/** The pairs of a place of the day that are judged, both points with a support: [{a, b, tolerance_in, offset_in}]. */
export function judgedPairs(place) {
  const held = new Set(place.supports.map((support) => support.point));
  const offsets = new Map(place.points.map((point) => [point.id, Number(point.design_offset_in)]));
  return place.neighbour_pairs
    .filter((pair) => held.has(pair.a) && held.has(pair.b))
    .map(({ a, b, tolerance_in }) => ({
      a,
      b,
      tolerance_in: tolerance_in === null ? null : Number(tolerance_in),
      offset_in: offsets.get(a) - offsets.get(b),
    }));
}

/** Every pair of which both points were read, with its difference a - b (offset taken off) and the places of both. */
export function pairDifferences(adjusted, pairs, tolerance_in) {
  const placeOf = new Map(adjusted.points.map((point, p) => [point.point, p]));
  const variance = varianceOf(adjusted);
  return pairs
    .filter((pair) => placeOf.has(pair.a) && placeOf.has(pair.b))
    .map((pair) => {
      const [i, j] = [placeOf.get(pair.a), placeOf.get(pair.b)];
      return {
        a: pair.a,
        b: pair.b,
        i,
        j,
        tolerance_in: pair.tolerance_in ?? tolerance_in,
        difference_in: adjusted.points[i].height_in - adjusted.points[j].height_in - (pair.offset_in ?? 0),
        sd_in: Math.sqrt(variance(i, j)),
      };
    });
}

/** Of a difference; without covariances, as of a survey that is only told, heights count as independent. */
function varianceOf({ points, covariance_in2: c }) {
  if (!c) return (i, j) => points[i].sd_in ** 2 + points[j].sd_in ** 2;
  return (i, j) => Math.max(0, c[i][i] + c[j][j] - 2 * c[i][j]);
}

/**
 * @param adjusted as of `adjust`; `pairs` of `judgedPairs`; `tolerance_in` holds where a pair has none of its own.
 * @returns [{a, b, difference_in, sd_in, tolerance_in, verdict: "within" | "over" | "uncertain"}]
 */
export function pairVerdicts(adjusted, pairs, tolerance_in, confidence = 0.95) {
  const z = quantile(confidence);
  return pairDifferences(adjusted, pairs, tolerance_in).map(({ i, j, ...pair }) => ({
    ...pair,
    verdict: verdictOf(Math.abs(pair.difference_in), z * pair.sd_in, pair.tolerance_in),
  }));
}

function verdictOf(difference_in, reach_in, tolerance_in) {
  if (difference_in - reach_in > tolerance_in + EPSILON_IN) return "over";
  return difference_in + reach_in <= tolerance_in + EPSILON_IN ? "within" : "uncertain";
}

/** The pair that is worst, in the sense of verdict first, then of what it passes its tolerance by; null without pairs. */
export function worstPair(verdicts) {
  const rank = { over: 2, uncertain: 1, within: 0 };
  const excess = (pair) => Math.abs(pair.difference_in) - pair.tolerance_in;
  const isWorse = (a, b) => rank[a.verdict] - rank[b.verdict] || excess(a) - excess(b);
  return verdicts.reduce((worst, pair) => (worst && isWorse(worst, pair) >= 0 ? worst : pair), null);
}

// -- the closing shot -------------------------------------------------------------------------------------------------

/**
 * A setup's worst closing shot less its first shot at the same mark, as heights; null without one. The limits are 2 and
 * 3 times sqrt(2) sd. Where the line may drift its heights take the misclosure into account: `verdict` is then null.
 *
 * @param readings the standing ones, in their order; of other setups too.
 * @returns {point, off_in, limit_in, verdict: "ok" | "doubtful" | "again" | null} | null
 */
export function misclosure(setup, readings, sd_in) {
  const firsts = new Map();
  let worst = null;
  for (const reading of readings) {
    if (reading.setup !== setup.id || reading.shot === "point") continue;
    const above_in = SENSES[setup.sense] * reading.value_in + (reading.reference_value_in ?? 0);
    if (reading.shot === "closing" && firsts.has(reading.point)) {
      const off_in = above_in - firsts.get(reading.point);
      if (!worst || Math.abs(off_in) > Math.abs(worst.off_in)) worst = { point: reading.point, off_in };
    }
    if (!firsts.has(reading.point)) firsts.set(reading.point, above_in);
  }
  return worst && { ...worst, ...judged(worst.off_in, setup.has_drift, Math.SQRT2 * sd_in) };
}

function judged(off_in, has_drift, sd_in) {
  const limit_in = AGAIN_SDS * sd_in;
  if (has_drift) return { limit_in, verdict: null };
  const within = (sds) => Math.abs(off_in) <= sds * sd_in + EPSILON_IN;
  return { limit_in, verdict: within(DOUBTFUL_SDS) ? "ok" : within(AGAIN_SDS) ? "doubtful" : "again" };
}

// -- a value that was just typed --------------------------------------------------------------------------------------

/** What `jars` goes by, from a place of the day; `last` null or {heights, years} of a survey that still holds. */
export function knownOf(place, last) {
  const points = place.points.map(({ id, x_ft, y_ft, design_offset_in, surface }) => [
    id,
    { x_ft: Number(x_ft), y_ft: Number(y_ft), offset_in: Number(design_offset_in), isOutside: surface === "outside" },
  ]);
  return { points: new Map(points), last };
}

/**
 * Whether a value is better read again before it is believed: further than 2.7 sd from what the earlier readings of the
 * point, the last survey and its neighbours lead one to expect.
 *
 * @param reading {setup, point, value_in, reference_value_in, taken_at}, not yet among `survey.readings`.
 * @param survey as for levels.js; `known` of `knownOf`.
 * @returns null, or {by: "again" (the point was read before) | "last" | "neighbours", expected_in, off_in, sd_in (all as
 *   written), chance (of being that far off without a slip), guess: null | {slip: "inch" | "fraction" | "minus",
 *   value_in}, beside: [points read nearest]}; `by: "sense"` with `point` only when the setup's readings fit far better
 *   the other way round: make its trial again (ask once a setup).
 */
export function jars(reading, survey, known) {
  const setup = survey.setups.find((each) => each.id === reading.setup);
  const model = expecting(survey, known);
  const expected = model.expect(setup, reading.point, reading.taken_at);
  if (!expected) return null;
  const sign = SENSES[setup.sense];
  const expected_in = sign * (expected.turned_in - (reading.reference_value_in ?? 0));
  const off_in = reading.value_in - expected_in;
  const { sd_in } = expected;
  // A setup read the wrong way round makes most of its readings a little odd: a cheap sign before the dear question.
  if (Math.abs(off_in) > sd_in && isTurned(reading, setup, survey, known)) return { by: "sense", point: reading.point };
  if (Math.abs(off_in) <= JARS_SDS * sd_in) return null;
  return {
    by: basis(reading.point, survey, known),
    expected_in,
    off_in,
    sd_in,
    chance: 2 * below(-Math.abs(off_in) / sd_in),
    guess: guessed(reading.value_in, expected_in, sd_in),
    beside: nearest(reading.point, survey, known),
  };
}

function isTurned(reading, setup, survey, known) {
  const readings = [...survey.readings, reading];
  if (readings.filter((each) => each.setup === setup.id).length < LEAST_TO_TURN) return false;
  const other = { ...setup, sense: setup.sense === "up" ? "down" : "up" };
  const setups = survey.setups.map((each) => (each === setup ? other : each));
  const turned = expecting({ setups, readings }, known).logLikelihood;
  return turned - expecting({ ...survey, readings }, known).logLikelihood > TURNED_GAIN;
}

function basis(point, survey, known) {
  if (survey.readings.some((each) => each.point === point)) return "again";
  return known.last?.heights.some((each) => each.point === point) ? "last" : "neighbours";
}

function nearest(point, survey, known) {
  const at = known.points.get(point);
  const away = (other) => Math.hypot(known.points.get(other).x_ft - at.x_ft, known.points.get(other).y_ft - at.y_ft);
  const read = new Set(survey.readings.map((each) => each.point).filter((each) => known.points.has(each)));
  read.delete(point);
  return [...read].sort((a, b) => away(a) - away(b)).slice(0, 2);
}

/** The slip of the hand that would explain a value: an inch, its fraction of another denominator, the sign. */
function guessed(value_in, expected_in, sd_in) {
  const whole = Math.trunc(value_in);
  const thirtySeconds = Math.round(Math.abs(value_in - whole) * 32);
  const swapped = [8, 4, 2, 0.5, 0.25, 0.125]
    .map((times) => thirtySeconds * times)
    .filter((each) => each > 0 && each < 32 && Number.isInteger(each));
  const side = value_in < 0 ? -1 : 1;
  const candidates = [
    ...[-1, 1].map((inch) => ({ slip: "inch", value_in: value_in + inch })),
    ...swapped.map((each) => ({ slip: "fraction", value_in: whole + (side * each) / 32 })),
    { slip: "minus", value_in: -value_in },
  ];
  const off = (each) => Math.abs(each.value_in - expected_in);
  const best = candidates.reduce((a, b) => (off(b) < off(a) ? b : a));
  return off(best) <= FITS_SDS * sd_in ? best : null;
}
