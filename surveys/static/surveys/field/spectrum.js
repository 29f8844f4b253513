// Sound as numbers: a recording at a lower rate, and how loud each frequency of it is.

const TAPS_PER_STEP = 8;
const PADDED = 4;

/** The same sound at about `wanted` Hz, what would fold over filtered out first: {samples, rate}. */
export function slower(samples, rate, wanted) {
  const step = Math.max(1, Math.floor(rate / wanted));
  const taps = lowPass(step);
  const made = new Float64Array(Math.floor((samples.length - taps.length) / step) + 1 || 0);
  for (let i = 0; i < made.length; i += 1) {
    let sum = 0;
    for (let k = 0; k < taps.length; k += 1) sum += taps[k] * samples[i * step + k];
    made[i] = sum;
  }
  return { samples: made, rate: rate / step };
}

/** A windowed sinc that passes four tenths of the new rate. */
function lowPass(step) {
  if (step === 1) return [1];
  const count = TAPS_PER_STEP * step + 1;
  const taps = Array.from({ length: count }, (_, k) => {
    const x = (k - (count - 1) / 2) / step;
    const sinc = x ? Math.sin(0.8 * Math.PI * x) / (Math.PI * x) : 0.8;
    return sinc * hann(k, count);
  });
  const sum = taps.reduce((a, b) => a + b);
  return taps.map((tap) => tap / sum);
}

const hann = (k, count) => 0.5 - 0.5 * Math.cos((2 * Math.PI * (k + 0.5)) / count);

/** Loudness by frequency under a Hann window, four times as fine as the window tells: {values, hz_per_bin}. */
export function magnitudes(samples, rate) {
  const size = 2 ** Math.ceil(Math.log2(PADDED * rate));
  const [real, imaginary] = [new Float64Array(size), new Float64Array(size)];
  const gain = 2 / samples.length;
  for (let i = 0; i < samples.length; i += 1) real[i] = samples[i] * hann(i, samples.length) * gain;
  transform(real, imaginary);
  return { values: real.subarray(0, size / 2).map((value, i) => Math.hypot(value, imaginary[i])), hz_per_bin: rate / size };
}

/** The fast Fourier transform in place, of a power of two. */
function transform(real, imaginary) {
  const size = real.length;
  for (let i = 1, j = 0; i < size; i += 1) {
    let bit = size >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i < j) [real[i], real[j], imaginary[i], imaginary[j]] = [real[j], real[i], imaginary[j], imaginary[i]];
  }
  for (let half = 1; half < size; half *= 2) {
    for (let k = 0; k < half; k += 1) {
      const [c, s] = [Math.cos((Math.PI * k) / half), -Math.sin((Math.PI * k) / half)];
      for (let i = k; i < size; i += 2 * half) butterfly(real, imaginary, i, i + half, c, s);
    }
  }
}

function butterfly(real, imaginary, i, j, c, s) {
  const [x, y] = [real[j] * c - imaginary[j] * s, real[j] * s + imaginary[j] * c];
  [real[j], imaginary[j]] = [real[i] - x, imaginary[i] - y];
  [real[i], imaginary[i]] = [real[i] + x, imaginary[i] + y];
}
