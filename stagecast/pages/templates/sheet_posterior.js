'use strict';
// What a few sets say of a field's mean: the same arithmetic as the module posterior, term by
// term, so that the phone and the desk never answer differently. The formula is explained there.

const MEAN_CELLS = 414;
const K_CELLS = 28;
const REACH = 10;
const FARTHEST = 50;  // e to the minus this is nothing beside 1

// The sum in the order in which numpy adds, so that the last digit is the same too.
function sumOf(values) {
  if (values.length < 8) return values.reduce((sum, value) => sum + value, 0);
  if (values.length > 128) {
    const half = values.length >> 1;
    const cut = half - (half % 8);
    return sumOf(values.slice(0, cut)) + sumOf(values.slice(cut));
  }
  const r = values.slice(0, 8);
  const whole = values.length - (values.length % 8);
  for (let i = 8; i < whole; i += 1) r[i % 8] += values[i];
  const sum = r[0] + r[1] + (r[2] + r[3]) + (r[4] + r[5] + (r[6] + r[7]));
  return values.slice(whole).reduce((all, value) => all + value, sum);
}

// Natural logarithm of the gamma function: Stirling's series at x + 8, stepped down.
function logGamma(x) {
  const z = x + 8;
  const i2 = 1 / (z * z);
  const steps = Math.log(x * (x + 1) * (x + 2) * (x + 3))
    + Math.log((x + 4) * (x + 5) * (x + 6) * (x + 7));
  const series = (1 / 12 - i2 * (1 / 360 - i2 * (1 / 1260 - i2 / 1680))) / z;
  return (z - 0.5) * Math.log(z) - z + 0.5 * Math.log(2 * Math.PI) + series - steps;
}

// Middles of cells of equal width in the logarithm.
function middles(low, high, cells) {
  const width = Math.log(high / low) / cells;
  return [Array.from({ length: cells }, (_, i) => Math.log(low) + width * (i + 0.5)), width];
}

// The cells of ln m and ln k. A cell (i, j) stands at i * K_CELLS + j of `share` and `none`.
function gridOf(prior) {
  const [logMean, width] = middles(prior.mean_least, prior.mean_most, MEAN_CELLS);
  const [logK] = middles(prior.k_least, prior.k_most, K_CELLS);
  const k = logK.map(Math.exp);
  const share = new Float64Array(MEAN_CELLS * K_CELLS);
  const none = new Float64Array(MEAN_CELLS * K_CELLS);
  logMean.map(Math.exp).forEach((mean, i) => k.forEach((one, j) => {
    share[i * K_CELLS + j] = -Math.log1p(one / mean);
    none[i * K_CELLS + j] = -one * Math.log1p(mean / one);
  }));
  return { logMean, width, logK, k, share, none };
}

const grids = new Map();

// Nearly all lines of a sheet have one grid.
function gridFor(prior) {
  const key = `${prior.mean_least} ${prior.mean_most}`;
  if (!grids.has(key)) grids.set(key, gridOf(prior));
  return grids.get(key);
}

// The prior, its means reaching well beyond a threshold and the mean of the sets.
function reaching(prior, at, caught, shares) {
  const some = [at, sumOf(caught) / sumOf(shares)].filter((mean) => mean > 0);
  const least = 10 ** Math.floor(Math.log10(Math.min(...some) / REACH));
  const most = 10 ** Math.ceil(Math.log10(Math.max(...some) * REACH));
  return {
    ...prior,
    mean_least: Math.min(prior.mean_least, least),
    mean_most: Math.max(prior.mean_most, most),
  };
}

// What no count changes: the chance of empty sets, and the prior. `at` is the mean to which the
// usual k belongs, the threshold.
function fixedPart(shares, at, prior) {
  const grid = gridFor(prior);
  const sets = sumOf(shares);
  const fixed = new Float64Array(MEAN_CELLS * K_CELLS);
  for (let i = 0; i < MEAN_CELLS; i += 1) {
    const usual = Math.log(prior.k_usual) + prior.k_rise * (grid.logMean[i] - Math.log(at));
    for (let j = 0; j < K_CELLS; j += 1) {
      const z = (grid.logK[j] - usual) / prior.k_log_sd;
      const cell = i * K_CELLS + j;
      fixed[cell] = sets * grid.none[cell] - 0.5 * z * z;
    }
  }
  return fixed;
}

// For each k: the sum over the sets of ln G(x + s k) - ln G(s k).
function logWays(caught, shares, k) {
  return k.map((one) => sumOf(caught.map((x, i) => (
    x > 0 ? logGamma(x + shares[i] * one) - logGamma(shares[i] * one) : 0))));
}

// Weights of the cells, the largest 1.
function cellWeights(caught, shares, fixed, grid) {
  const total = sumOf(caught);
  const ways = logWays(caught, shares, grid.k);
  const weights = new Float64Array(MEAN_CELLS * K_CELLS);
  let top = -Infinity;
  for (let i = 0, cell = 0; i < MEAN_CELLS; i += 1) {
    for (let j = 0; j < K_CELLS; j += 1, cell += 1) {
      const log = total * grid.share[cell] + fixed[cell] + ways[j];
      weights[cell] = log;
      if (log > top) top = log;
    }
  }
  for (let cell = 0; cell < weights.length; cell += 1) {
    const below = weights[cell] - top;
    weights[cell] = below > -FARTHEST ? Math.exp(below) : 0;
  }
  return weights;
}

// Weights of the mean alone.
function meanWeights(weights) {
  const mean = new Float64Array(MEAN_CELLS);
  for (let i = 0, cell = 0; i < MEAN_CELLS; i += 1) {
    for (let j = 0; j < K_CELLS; j += 1, cell += 1) mean[i] += weights[cell];
  }
  return mean;
}

// Share of each cell of ln m that lies over a level, its density a straight line.
function overShare(mean, level, grid) {
  const place = (Math.log(level) - grid.logMean[0]) / grid.width + 0.5;
  const cell = Math.floor(place);
  const over = new Float64Array(MEAN_CELLS).fill(1, Math.min(Math.max(cell + 1, 0), MEAN_CELLS));
  if (cell >= 0 && cell < MEAN_CELLS) {
    const part = place - cell;
    const before = mean[Math.max(cell - 1, 0)];
    const after = mean[Math.min(cell + 1, MEAN_CELLS - 1)];
    const rise = mean[cell] > 0 ? (after - before) / 2 / mean[cell] : 0;
    over[cell] = 1 - part + Math.max(-2, Math.min(2, rise)) * part * (1 - part) / 2;
  }
  return over;
}

function shareOver(mean, level, grid) {
  const over = overShare(mean, level, grid);
  let above = 0;
  let whole = 0;
  for (let i = 0; i < MEAN_CELLS; i += 1) {
    above += mean[i] * over[i];
    whole += mean[i];
  }
  return above / whole;
}

function nextLevel(level) {
  if (level < 2) return level + 0.25;
  if (level < 4) return level + 0.5;
  return level < 12 ? level + 1 : Math.floor((level * 4) / 3);
}

// Insects per usual size to which emptier sets are filled, below the threshold.
function fillLevels(rates, threshold) {
  const [least, most] = [Math.min(...rates), Math.max(...rates)];
  const ladder = [];
  for (let level = 0.25; least < most && level < threshold; level = nextLevel(level)) {
    if (level > least) ladder.push(level);
    if (level >= most) break;
  }
  return ladder;
}

// Chance that the mean is over its threshold: the least of the posterior's own and of those with
// the emptier sets filled up to one level, so that more insects hardly ever lower it.
function chanceOver(caught, shares, threshold, usual) {
  const prior = reaching(usual, threshold, caught, shares);
  const grid = gridFor(prior);
  const fixed = fixedPart(shares, threshold, prior);
  const levels = fillLevels(caught.map((x, i) => x / shares[i]), threshold);
  return Math.min(...[0, ...levels].map((level) => {
    const filled = caught.map((x, i) => Math.max(x, level * shares[i]));
    return shareOver(meanWeights(cellWeights(filled, shares, fixed, grid)), threshold, grid);
  }));
}

// The posterior of mean and k; its weights add up to 1.
function posteriorOf(caught, shares, at, usual) {
  const prior = reaching(usual, at, caught, shares);
  const grid = gridFor(prior);
  const joint = cellWeights(caught, shares, fixedPart(shares, at, prior), grid);
  let whole = 0;
  for (let cell = 0; cell < joint.length; cell += 1) whole += joint[cell];
  for (let cell = 0; cell < joint.length; cell += 1) joint[cell] /= whole;
  return { grid, joint, mean: meanWeights(joint), total: sumOf(caught), sets: sumOf(shares) };
}

// Interval of the mean with equal tails; its low end is 0 where nothing was caught.
function intervalOf(posterior, probability) {
  const { grid, mean, total } = posterior;
  const edge = (target) => {
    let risen = 0;
    for (let i = 0; i < MEAN_CELLS; i += 1) {
      if (risen + mean[i] >= target) {
        const part = (target - risen) / mean[i];
        return Math.exp(grid.logMean[0] + grid.width * (i - 0.5 + part));
      }
      risen += mean[i];
    }
    return Math.exp(grid.logMean[MEAN_CELLS - 1] + grid.width / 2);
  };
  const tail = (1 - probability) / 2;
  return [total > 0 ? edge(tail) : 0, edge(1 - tail)];
}
