// The pitch of a plucked strap, from the phone's microphone, and the tension that goes with it. Phones hear little below
// 100 Hz and a strap may ring at 25 to 120, so the lowest pitch is found from all its partials: a comb over the spectrum
// that rises above what was there before the pluck and above its own floor, less what lies between the comb's teeth,
// which tells a pitch from its octaves. Partials of a stiff band stand a little sharp; that is fitted and taken off.

import { magnitudes, slower } from "./spectrum.js";

const LOWEST_HZ = 22;
const HIGHEST_HZ = 135;
const GRID = 1.004; // a step of the search
const HIGHEST_PARTIAL_HZ = 700;
const MOST_PARTIALS = 13;
const FADE = 0.88; // a tooth's weight beside the one below it
const STIFF = [0, 0.0004, 0.0009, 0.0016, 0.0025]; // how much sharp: mode n by this times n squared
const ANOTHER = 0.06; // pitches further apart than this share count as two
const LEAST_DB = 8; // above the floor, to count as a partial
const MOST_DB = 30; // a louder partial says no more
const FLOOR_HZ = 12; // the floor is the middle loudness this far either way
const RATE_HZ = 2400; // enough for the partials
const WINDOW_S = 0.85;
const THUMP_S = 0.03;
const FRAME_S = 0.05;

/**
 * The pitch of the strongest pluck in a recording.
 *
 * @param samples mono, -1 to 1; `rate` in Hz.
 * @returns null where nothing rings, else `fundamental_hz` with `sd_hz`, `second_hz` (the second mode as heard, or null),
 *   `partials` [{mode, hz, db}], `sure` 0 to 1: how far the pitch stands out from every other one.
 */
export function pitchOf(samples, rate) {
  const slow = slower(samples, rate, RATE_HZ);
  const parts = aroundPluck(slow.samples, slow.rate);
  if (!parts) return null;
  const spectrum = aboveFloor(magnitudes(parts.rung, slow.rate), parts.quiet && magnitudes(parts.quiet, slow.rate));
  const best = strongest(spectrum);
  if (!best) return null;
  const partials = partialsOf(spectrum, best);
  if (!partials.length) return null;
  const found = fitted(partials);
  const second_hz = partials.find(({ mode }) => mode === 2)?.hz ?? null;
  return { ...found, second_hz, partials, sure: surenessOf(best, partials) };
}

/** What rings after the strongest pluck, and what is there without it. */
function aroundPluck(samples, rate) {
  const frame = Math.round(FRAME_S * rate);
  const loud = [];
  for (let at = 0; at + frame <= samples.length; at += frame) {
    let sum = 0;
    for (let i = at; i < at + frame; i += 1) sum += samples[i] ** 2;
    loud.push(sum / frame);
  }
  const mean = (from, to) => loud.slice(Math.max(from, 0), to).reduce((a, b, _, all) => a + b / all.length, 0);
  const length = Math.round(WINDOW_S * rate);
  // A pluck that the recording breaks off is left out: it would be too short to tell.
  const whole = loud.slice(0, Math.max(0, loud.length - Math.ceil((0.6 * length) / frame)));
  const rise = whole.map((_, i) => mean(i, i + 6) - mean(i - 6, i));
  const start = rise.indexOf(Math.max(...rise));
  if (start < 0 || !loud[start]) return null;
  const from = start * frame + Math.round(THUMP_S * rate);
  const rung = samples.subarray(from, from + length);
  return { rung, quiet: besides(samples, (start - 1) * frame, from, length) };
}

/** What is there without the pluck, such as hum: before it, else long after, when it has died down; else null. */
function besides(samples, end, from, length) {
  if (end >= length / 3) return samples.subarray(Math.max(0, end - length), end);
  const late = samples.subarray(Math.max(from + 2 * length, samples.length - length));
  return late.length < length / 3 ? null : late;
}

/** Decibels above the floor, bin by bin, capped: the louder of the middle loudness around and what was there before. */
function aboveFloor({ values, hz_per_bin }, quiet) {
  const reach = Math.round(FLOOR_HZ / hz_per_bin);
  const last = Math.ceil(HIGHEST_PARTIAL_HZ / hz_per_bin) + reach;
  const step = Math.max(1, Math.floor(reach / 4));
  const middles = [];
  for (let bin = 0; bin <= last + step; bin += step) middles.push(median(values.subarray(Math.max(0, bin - reach), bin + reach + 1)));
  const db = new Float64Array(last);
  for (let bin = 1; bin < last; bin += 1) {
    const around = middles[Math.round(bin / step)];
    const before = quiet ? 1.6 * quiet.values[bin] : 0;
    db[bin] = Math.min(MOST_DB, Math.max(0, 20 * Math.log10(values[bin] / Math.max(around, before, 1e-12))));
  }
  return { db, values, hz_per_bin };
}

function median(values) {
  const sorted = Float64Array.from(values).sort();
  return sorted[sorted.length >> 1];
}

// -- the comb ---------------------------------------------------------------------------------------------------------

/** The loudest place near a frequency: {hz, db}, by a parabola through three bins. */
function peakNear({ db, values, hz_per_bin }, hz, reach_hz) {
  const from = Math.max(1, Math.ceil((hz - reach_hz) / hz_per_bin));
  const to = Math.min(db.length - 2, Math.floor((hz + reach_hz) / hz_per_bin));
  let top = from;
  for (let bin = from; bin <= to; bin += 1) if (values[bin] > values[top]) top = bin;
  const [a, b, c] = [values[top - 1], values[top], values[top + 1]].map((value) => Math.log(value + 1e-12));
  const curve = a - 2 * b + c;
  const aside = curve < 0 ? Math.max(-0.5, Math.min(0.5, (a - c) / (2 * curve))) : 0;
  return { hz: (top + aside) * hz_per_bin, db: db[top] };
}

const heard = (db) => Math.max(0, db - LEAST_DB);

// How far a tooth reaches: as the steps of stiffness leave it, and never to the next one.
const reachOf = (hz, mode) => Math.min(0.8 + 0.00025 * hz * mode ** 3, hz / 6);

const tooth = (hz, mode, stiff) => (mode * hz * (1 + stiff * mode * mode)) / (1 + stiff);

function score(spectrum, hz, stiff) {
  let sum = 0;
  let weight = 1;
  for (let mode = 1; mode <= MOST_PARTIALS && tooth(hz, mode, stiff) <= HIGHEST_PARTIAL_HZ; mode += 1) {
    const on = peakNear(spectrum, tooth(hz, mode, stiff), reachOf(hz, mode)).db;
    const off = peakNear(spectrum, tooth(hz, mode - 0.5, stiff), reachOf(hz, mode)).db;
    sum += weight * (heard(on) - heard(off));
    weight *= FADE;
  }
  return sum;
}

/** The best pitch with its stiffness, and the score of the best of those that are another pitch. */
function strongest(spectrum) {
  const rated = [];
  for (let hz = LOWEST_HZ; hz <= HIGHEST_HZ; hz *= GRID) {
    for (const stiff of STIFF) rated.push({ hz, stiff, score: score(spectrum, hz, stiff) });
  }
  const best = rated.reduce((a, b) => (b.score > a.score ? b : a));
  if (best.score <= 0) return null;
  const others = rated.filter(({ hz }) => Math.abs(Math.log(hz / best.hz)) > ANOTHER);
  return { ...best, other: Math.max(0, ...others.map((each) => each.score)) };
}

function partialsOf(spectrum, { hz, stiff }) {
  const found = [];
  for (let mode = 1; mode <= MOST_PARTIALS && tooth(hz, mode, stiff) <= HIGHEST_PARTIAL_HZ; mode += 1) {
    const peak = peakNear(spectrum, tooth(hz, mode, stiff), reachOf(hz, mode));
    if (peak.db > LEAST_DB) found.push({ mode, ...peak });
  }
  return found;
}

/** hz / mode = a (1 + b mode^2), b at least 0, by least squares; the pitch is that of mode 1. */
function fitted(partials) {
  const mean = (valueOf) => partials.reduce((sum, each) => sum + valueOf(each), 0) / partials.length;
  const ratio = ({ hz, mode }) => hz / mode;
  const square = ({ mode }) => mode * mode;
  const [middle, at] = [mean(ratio), mean(square)];
  const spread = mean((each) => (square(each) - at) ** 2);
  const slope = partials.length < 3 ? 0 : Math.max(0, mean((each) => (square(each) - at) * (ratio(each) - middle)) / spread);
  const line = (each) => middle + slope * (square(each) - at);
  const fundamental_hz = middle + slope * (1 - at);
  const scatter = Math.sqrt(mean((each) => (ratio(each) - line(each)) ** 2));
  return { fundamental_hz, sd_hz: Math.max(0.2, scatter) };
}

/** Loud beside every other pitch, and told by more than one partial. */
function surenessOf({ score: best, other }, partials) {
  const apart = Math.max(0, 1 - other / best);
  const loud = Math.min(1, best / (2 * (MOST_DB - LEAST_DB)));
  const several = Math.min(1, partials.length / 3);
  return Math.min(1, 2 * apart) * loud * several;
}

// -- listening --------------------------------------------------------------------------------------------------------

const HEAR_EVERY_MS = 1000;
const SURE_ENOUGH = 0.2;
const RAW = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: 1 };

/**
 * Listen for some seconds; `onpitch(hz)` is told what is heard meanwhile. Resolves to what `pitchOf` says of all of it,
 * null where nothing is sure enough; rejects as `getUserMedia` does (NotAllowedError, NotFoundError).
 */
export async function listen(seconds, { onpitch = () => {} } = {}) {
  const stream = await navigator.mediaDevices.getUserMedia({ audio: RAW });
  const context = new AudioContext();
  try {
    const recorded = await recorder(context, stream);
    const tell = setInterval(() => {
      const pitch = sure(pitchOf(recorded(), context.sampleRate));
      if (pitch) onpitch(pitch.fundamental_hz);
    }, HEAR_EVERY_MS);
    await new Promise((resolve) => setTimeout(resolve, seconds * 1000));
    clearInterval(tell);
    return sure(pitchOf(recorded(), context.sampleRate));
  } finally {
    stream.getTracks().forEach((track) => track.stop());
    await context.close();
  }
}

const sure = (pitch) => (pitch && pitch.sure >= SURE_ENOUGH ? pitch : null);

async function recorder(context, stream) {
  const blocks = [];
  await context.audioWorklet.addModule(new URL("./pluck_tap.js", import.meta.url));
  await context.resume();
  const tap = new AudioWorkletNode(context, "tap", { numberOfOutputs: 0 });
  tap.port.onmessage = ({ data }) => blocks.push(data);
  context.createMediaStreamSource(stream).connect(tap);
  return () => {
    const all = new Float32Array(blocks.reduce((sum, block) => sum + block.length, 0));
    blocks.reduce((at, block) => (all.set(block, at), at + block.length), 0);
    return all;
  };
}

// -- tension: the service's own formulas (calcs/engine/strap_tension) -------------------------------------------------

const GRAVITY_IN_PER_S2 = 386.0886;
const STIFFEST_SHARE = 0.25;
const MOST_SAG = 0.5;
const EPSILON = 1e-9;
const STRAP = {
  mode: 1,
  ends: "clamped",
  width_in: 1.25,
  thickness_in: 0.035,
  density_lb_per_in3: 0.284,
  sd_hz: 0.5,
  sd_length_in: 0.25,
  e_psi: 29e6,
  working_lb: 3150,
  ultimate_lb: 4725,
};

/**
 * What a strap carries by its pitch.
 *
 * @param reading `free_length_in`, `frequency_hz`, and as they differ from the usual strap `mode`, `ends` ("clamped" |
 *   "pinned"), `width_in`, `thickness_in`, `density_lb_per_in3`, `sd_hz`, `sd_length_in`, `e_psi`, `working_lb`, `ultimate_lb`.
 * @returns {tension_lb, sd_lb, stiffness_share, state: "within_working" | "over_working" | "over_ultimate" |
 *   "too_slack_to_tell"}; tension and sd null where the pitch is the band's stiffness alone.
 */
export function tension(reading) {
  const strap = { ...STRAP, ...reading };
  const told = plucked(strap);
  const { tension_lb, stiffness_share } = told;
  const isTold = tension_lb !== null && stiffness_share <= STIFFEST_SHARE + EPSILON && sagOf(strap, tension_lb) <= MOST_SAG;
  return { ...told, state: isTold ? stateOf(tension_lb, strap) : "too_slack_to_tell" };
}

function stateOf(tension_lb, { working_lb, ultimate_lb }) {
  if (tension_lb > ultimate_lb + EPSILON) return "over_ultimate";
  return tension_lb > working_lb + EPSILON ? "over_working" : "within_working";
}

function plucked(strap) {
  const { free_length_in: length, frequency_hz: pitch, mode, ends, width_in, thickness_in, density_lb_per_in3, e_psi } = strap;
  const area = width_in * thickness_in;
  const s = ((2 * length * pitch) / mode) * Math.sqrt((density_lb_per_in3 * area) / GRAVITY_IN_PER_S2);
  const stiff = (e_psi * area * thickness_in ** 2) / 12 / length ** 2; // E I / L^2, a force
  const { tension_lb, perPitch, perLength } = (ends === "pinned" ? pinned : clamped)(s, stiff, strap);
  if (!(tension_lb > 0)) return { tension_lb: null, sd_lb: null, stiffness_share: 1 };
  const sd_lb = Math.hypot(perPitch * strap.sd_hz, perLength * strap.sd_length_in);
  return { tension_lb, sd_lb, stiffness_share: Math.max(0, 1 - tension_lb / (s * s)) };
}

function pinned(s, stiff, { free_length_in: length, frequency_hz: pitch, mode }) {
  const bent = (mode * Math.PI) ** 2 * stiff;
  return { tension_lb: s * s - bent, perPitch: (2 * s * s) / pitch, perLength: (2 * (s * s + bent)) / length };
}

function clamped(s, stiff, { free_length_in: length, frequency_hz: pitch, mode }) {
  const a = Math.sqrt(stiff);
  const c = 4 + (mode * Math.PI) ** 2 / 2;
  const rest = s - 2 * a;
  const underRoot = rest * rest - 4 * c * a * a;
  if (rest <= 0 || underRoot <= 0) return {};
  const slope = Math.sqrt(underRoot);
  const x = (rest + slope) / 2;
  return {
    tension_lb: x * x,
    perPitch: (((2 * x * x) / slope) * s) / pitch,
    perLength: (((2 * x) / slope) * (x * s + 2 * a * (x + c * a))) / length,
  };
}

/** How much the band's own weight stretches it beside how much its tension does. */
function sagOf({ width_in, thickness_in, density_lb_per_in3, free_length_in, e_psi }, tension_lb) {
  const area = width_in * thickness_in;
  const weight_lb = density_lb_per_in3 * area * free_length_in;
  return ((weight_lb / tension_lb) ** 2 * e_psi * area) / tension_lb;
}
