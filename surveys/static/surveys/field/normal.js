// The normal distribution: density, lower tail, and the value that a share of it lies below. The tail follows Cody
// (Math. Comp. 23 (1969) 631), from memory; a test holds both against scipy.

const ERF = [3.1611237438705656, 113.864154151050156, 377.485237685302021, 3209.37758913846947, 0.185777706184603153];
const ERF_BELOW = [23.6012909523441209, 244.024637934444173, 1282.61652607737228, 2844.23683343917062];
const MIDDLE = [
  0.564188496988670089, 8.88314979438837594, 66.1191906371416295, 298.635138197400131, 881.95222124176909,
  1712.04761263407058, 2051.07837782607147, 1230.33935479799725, 2.15311535474403846e-8,
];
const MIDDLE_BELOW = [
  15.7449261107098347, 117.693950891312499, 537.181101862009858, 1621.38957456669019, 3290.79923573345963,
  4362.61909014324716, 3439.36767414372164, 1230.33935480374942,
];
const FAR = [
  0.305326634961232344, 0.360344899949804439, 0.125781726111229246, 0.0160837851487422766, 6.58749161529837803e-4,
  0.0163153871373020978,
];
const FAR_BELOW = [
  2.56852019228982242, 1.87295284992346047, 0.527905102951428412, 0.0605183413124413191, 2.33520497626869185e-3,
];
const ROOT_PI = Math.sqrt(Math.PI);

export function density(x) {
  return Math.exp(-0.5 * x * x) / Math.sqrt(2 * Math.PI);
}

/** The chance that a standard normal number is at most x. */
export function below(x) {
  return 0.5 * erfc(-x / Math.SQRT2);
}

function ratio(over, under, last, y) {
  let top = last * y;
  let bottom = y;
  for (let i = 0; i < under.length - 1; i += 1) {
    top = (top + over[i]) * y;
    bottom = (bottom + under[i]) * y;
  }
  return (top + over[under.length - 1]) / (bottom + under[under.length - 1]);
}

function erfc(x) {
  const y = Math.abs(x);
  if (y <= 0.46875) return 1 - x * ratio(ERF, ERF_BELOW, ERF[4], y * y);
  const tail = farTail(y);
  return x < 0 ? 2 - tail : tail;
}

function farTail(y) {
  if (y > 26.6) return 0;
  // exp(-y^2) in two steps, so that the square's rounding is not blown up.
  const round = Math.trunc(y * 16) / 16;
  const fall = Math.exp(-round * round) * Math.exp(-(y - round) * (y + round));
  if (y <= 4) return fall * ratio(MIDDLE, MIDDLE_BELOW, MIDDLE[8], y);
  const inverse = 1 / (y * y);
  return (fall * (1 / ROOT_PI - inverse * ratio(FAR, FAR_BELOW, FAR[5], inverse))) / y;
}

/** The value that a share (above 0, below 1) of standard normal numbers lies below. */
export function quantile(share) {
  if (share > 0.5) return -quantile(1 - share);
  const r = Math.sqrt(-2 * Math.log(share));
  let x = -(r - (2.30753 + 0.27061 * r) / (1 + r * (0.99229 + 0.04481 * r)));
  for (let step = 0; step < 4; step += 1) {
    const newton = (below(x) - share) / density(x);
    x -= newton / (1 + 0.5 * x * newton); // Halley: the density's slope is -x times itself
  }
  return x;
}
