// Which one or two further shots would most reduce the chance of a wrong verdict, while the crew is still there.
//
// The chance of a wrong verdict on a pair is what is left if the likelier of "within" and "over" is called: with the true
// difference D ~ N(difference, sd^2) and p = P(|D| <= tolerance), it is min(p, 1 - p). Over all pairs these are added up:
// the number of wrong verdicts to be expected, and no less than the chance that any is wrong. A shot of a point from a
// setup observes height - line with that setup's sd. Before it is taken it is known how much of sd^2 it takes away, v;
// the difference that will then be found is N(difference, v), so the chance expected after it (preposterior analysis:
// Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961, from memory) is min(p, 1 - p) with what is left of
// sd^2, averaged over that. Of two shots the first is one of the eight best alone, the second the best beside it.

import { pairDifferences } from "./verdicts.js";
import { below, density } from "./normal.js";

const LEAST_CHANCE = 1e-4; // pairs that are surer than this are left out
const LEAST_GAIN = 0.005; // a shot that is worth less isn't asked for
const FIRST_TRIED = 8;
const FARTHEST_SDS = 6;
// Gauss-Legendre, 8 points: half of them, by symmetry, with their weights.
const NODES = [0.1834346424956498, 0.525532409916329, 0.7966664774136267, 0.9602898564975363];
const WEIGHTS = [0.362683783378362, 0.3137066458778873, 0.2223810344533745, 0.1012285362903763];
const PANELS = 4;

/**
 * @param adjusted as of `adjust`; `pairs` and `tolerance_in` as for `pairVerdicts`.
 * @param options `setups` those that still stand (ids; else all), `points` that may be shot (else all that were read),
 *   `most` shots.
 * @returns [{setup, point, before, after}]: what is to be expected before and after each, those before it taken.
 */
export function bestShots(adjusted, pairs, tolerance_in, { setups = null, points = null, most = 2 } = {}) {
  const open = doubtful(adjusted, pairs, tolerance_in);
  return search(open, candidates(adjusted, open, setups, points), most, sum(open.map((pair) => pair.chance)));
}

/** The best row of shots that begins with one of the best single ones; none where none is worth its while. */
function search(open, shots, most, before) {
  if (!most) return [];
  const rated = shots
    .map((shot) => ({ shot, after: sum(open.map((pair, k) => expectedAfter(pair, pair.told + toldMore(shot, k)))) }))
    .sort((a, b) => a.after - b.after);
  const plans = rated.slice(0, most > 1 ? FIRST_TRIED : 1).map(({ shot, after }) => [
    { setup: shot.setup, point: shot.point, before, after },
    ...search(...taken(shot, open, shots), most - 1, after),
  ]);
  const cost = (plan) => (plan.at(-1)?.after ?? before) + LEAST_GAIN * plan.length;
  return plans.reduce((best, plan) => (cost(plan) < cost(best) ? plan : best), []);
}

/** How many of the verdicts on pairs are to be expected wrong as things stand. */
export const expectedWrong = (adjusted, pairs, tolerance_in) =>
  sum(pairDifferences(adjusted, pairs, tolerance_in).map((pair) => wrongChance(pair.difference_in, pair.sd_in, pair.tolerance_in)));

const sum = (values) => values.reduce((a, b) => a + b, 0);

/** The pairs whose verdict may be wrong; `told` is what the shots chosen so far take from the variance. */
function doubtful(adjusted, pairs, tolerance_in) {
  return pairDifferences(adjusted, pairs, tolerance_in)
    .map((pair) => ({ ...pair, told: 0, chance: wrongChance(pair.difference_in, pair.sd_in, pair.tolerance_in) }))
    .filter((pair) => pair.chance > LEAST_CHANCE);
}

// -- shots: each with the covariance of what it observes with every pair and every other shot --------------------------

/** Rows over u of what can be observed, and the own variance of a point's mean that a height has beside it. */
function candidates({ points, lines, factors }, open, setups, wanted) {
  const difference = open.map(({ i, j }) => minus(factors.root[i], factors.root[j]));
  return lines.flatMap(({ setup }, s) => {
    if (setups && !setups.includes(setup)) return [];
    const line = lineRow(factors, s);
    return points.flatMap(({ point }, p) => {
      if (wanted && !wanted.includes(point)) return [];
      const row = minus(factors.root[p], line);
      const own = (pair) => ((pair.i === p) - (pair.j === p)) * factors.alone[p];
      return {
        setup,
        point,
        p,
        row,
        alone: factors.alone[p],
        told: [],
        variance: dot(row, row) + factors.alone[p] + factors.sds[s] ** 2,
        withPairs: open.map((pair, k) => dot(difference[k], row) + own(pair)),
      };
    });
  });
}

/** A line at the latest instant that was read from it. */
function lineRow({ lines, drifts, hours }, s) {
  return drifts[s] ? lines[s].map((value, c) => value + hours[s] * drifts[s][c]) : lines[s];
}

const minus = (a, b) => Array.from(a, (value, c) => value - b[c]);
const dot = (a, b) => a.reduce((total, value, c) => total + value * b[c], 0);
const toldMore = (shot, pair) => shot.withPairs[pair] ** 2 / shot.variance;

/** What is open and what may be shot once a shot counts as taken: what it tells is off every covariance. */
function taken(shot, open, shots) {
  const { variance } = shot;
  const told = (withPairs, share) => withPairs.map((value, k) => value - share * shot.withPairs[k]);
  return [
    open.map((pair, k) => ({ ...pair, told: pair.told + toldMore(shot, k) })),
    shots.map((other) => {
      const common = covarianceOf(shot, other);
      const share = common / variance;
      return {
        ...other,
        withPairs: told(other.withPairs, share),
        variance: other.variance - share * common,
        told: [...other.told, { share, variance }],
      };
    }),
  ];
}

/** Of two shots' observations, without the noise of reading; less what shots taken already told of both. */
function covarianceOf(a, b) {
  const first = dot(a.row, b.row) + (a.p === b.p ? a.alone : 0);
  return a.told.reduce((value, { share, variance }, k) => value - share * b.told[k].share * variance, first);
}

// -- chances ----------------------------------------------------------------------------------------------------------

const within = (difference, sd, tolerance) => below((tolerance - difference) / sd) - below((-tolerance - difference) / sd);

function wrongChance(difference, sd, tolerance) {
  if (sd < 1e-12) return 0;
  const p = within(difference, sd, tolerance);
  return Math.min(p, 1 - p);
}

/**
 * min(p, 1 - p) expected once `told` of the variance is gone: the integral, over differences found that will be called
 * within (up to b either way), of density times 1 - 2p, plus the chance of within now.
 */
function expectedAfter({ difference_in: d, sd_in, tolerance_in, chance }, told) {
  if (told < 1e-9 * sd_in ** 2) return chance;
  const spread = Math.sqrt(told);
  const left = Math.sqrt(Math.max(sd_in ** 2 - told, 1e-18));
  const edge = callEdge(left, tolerance_in);
  if (Math.abs(Math.abs(d) - edge) > FARTHEST_SDS * spread) return chance; // the call stays as it is
  const from = Math.max(-edge, d - FARTHEST_SDS * spread);
  const to = Math.min(edge, d + FARTHEST_SDS * spread);
  const gain = (x) => (density((x - d) / spread) / spread) * (1 - 2 * within(x, left, tolerance_in));
  return within(d, sd_in, tolerance_in) + (to > from ? integral(gain, from, to) : 0);
}

/** The difference at which within and over are as likely; 0 where within never is the likelier. */
function callEdge(sd, tolerance) {
  if (tolerance > 2.5 * sd) return tolerance; // the other limit is too far to matter: by less than 1e-6 sd
  if (within(0, sd, tolerance) <= 0.5) return 0;
  let [low, high] = [0, tolerance];
  for (let step = 0; step < 30; step += 1) {
    const middle = (low + high) / 2;
    if (within(middle, sd, tolerance) > 0.5) low = middle;
    else high = middle;
  }
  return low;
}

function integral(f, from, to) {
  const half = (to - from) / PANELS / 2;
  let total = 0;
  for (let panel = 0; panel < PANELS; panel += 1) {
    const middle = from + (2 * panel + 1) * half;
    NODES.forEach((node, i) => (total += WEIGHTS[i] * (f(middle - node * half) + f(middle + node * half))));
  }
  return total * half;
}
