// In how many of such fields some more sets would settle it: as settled_share of the module
// posterior has it, with evenly spread fields in place of random ones.

const FUTURES = 64;
const TOGETHER = 3;
const SMALL_WEIGHT = 1e-3;
const MOST_LOOKED_AT = 200000;

// Points spread evenly over the unit cube.
function spreadPoints(points, dimensions) {
  let base = 2;
  for (let i = 0; i < 40; i += 1) base = (1 + base) ** (1 / (dimensions + 1));
  return Array.from({ length: points }, (_, i) => {
    const point = Array.from({ length: dimensions }, (__, d) => (
      (0.5 + (i + 1) * base ** -(d + 1)) % 1));
    point[0] = (i + 0.5) / points;
    return point;
  });
}

// Counts looked at, one by one to 24 and then by a tenth, and how many each stands for.
function countLadder() {
  const ladder = [];
  let low = 0;
  while (low < MOST_LOOKED_AT) {
    const wide = low < 24 ? 1 : Math.floor(low / 10);
    const count = low + (wide - 1) / 2;
    ladder.push({ count, wide, ways: logGamma(count + 1) });
    low += wide;
  }
  return ladder;
}

const COUNTS = countLadder();

// Counts at quantiles of the negative binomial of a mean and k.
function countsAt(chances, mean, k) {
  let whole = 0;
  const one = logGamma(k);
  const [empty, each] = [k * Math.log1p(mean / k), Math.log1p(k / mean)];
  const risen = COUNTS.map(({ count, wide, ways }) => {
    whole += wide * Math.exp(logGamma(count + k) - one - ways - empty - count * each);
    return whole;
  });
  return chances.map((chance) => {
    const place = risen.findIndex((sum) => sum / whole >= chance);
    const { count } = COUNTS[place < 0 ? COUNTS.length - 1 : place];
    return Number(fixed(count, 0));
  });
}

// The likely cells of a posterior, three of the mean taken together.
function broadCells(now, threshold) {
  const { grid, joint, mean } = now;
  const over = overShare(mean, threshold, grid);
  const [weights, parts] = [[], []];
  for (let i = 0, cell = 0; i < MEAN_CELLS; i += 1) {
    for (let j = 0; j < K_CELLS; j += 1, cell += 1) {
      const at = Math.floor(i / TOGETHER) * K_CELLS + j;
      weights[at] = (weights[at] || 0) + joint[cell];
      parts[at] = (parts[at] || 0) + joint[cell] * over[i];
    }
  }
  const least = SMALL_WEIGHT * Math.max(...weights);
  const places = [...weights.keys()].filter((at) => weights[at] > least);
  const middle = (at) => (
    (Math.floor(at / K_CELLS) * TOGETHER + Math.floor(TOGETHER / 2)) * K_CELLS + (at % K_CELLS));
  return {
    column: places.map((at) => at % K_CELLS),
    log: places.map((at) => Math.log(weights[at])),
    over: places.map((at) => parts[at] / weights[at]),
    share: places.map((at) => grid.share[middle(at)]),
    none: places.map((at) => grid.none[middle(at)]),
  };
}

// Chance that the mean is over its threshold, with so many more sets taken.
function chanceWith(caught, cells, grid) {
  const total = sumOf(caught);
  const ways = logWays(caught, caught.map(() => 1), grid.k);
  const logs = new Float64Array(cells.log.length);
  let top = -Infinity;
  for (let i = 0; i < logs.length; i += 1) {
    logs[i] = total * cells.share[i] + (cells.log[i] + caught.length * cells.none[i])
      + ways[cells.column[i]];
    if (logs[i] > top) top = logs[i];
  }
  let above = 0;
  let whole = 0;
  for (let i = 0; i < logs.length; i += 1) {
    const weight = Math.exp(logs[i] - top);
    above += weight * cells.over[i];
    whole += weight;
  }
  return above / whole;
}

// The first place at which a sum that rises has come to a target.
function placeOf(values, target) {
  let risen = 0;
  const place = values.findIndex((value) => {
    risen += value;
    return risen >= target;
  });
  return place < 0 ? values.length - 1 : place;
}

// Share of such fields in which so many more sets of usual size would end below or above.
function settledShare(now, more, threshold, levels) {
  const { grid, joint, mean } = now;
  const cells = broadCells(now, threshold);
  const settled = spreadPoints(FUTURES, 2 + more).filter((point) => {
    const row = placeOf(mean, point[0]);
    const ofK = joint.slice(row * K_CELLS, (row + 1) * K_CELLS);
    const column = placeOf(ofK, point[1] * ofK.reduce((sum, weight) => sum + weight, 0));
    const caught = countsAt(point.slice(2), Math.exp(grid.logMean[row]), grid.k[column]);
    const chance = chanceWith(caught, cells, grid);
    const seen = (now.total + sumOf(caught)) / (now.sets + more);
    return chance >= levels.above || (chance <= levels.below && seen < threshold);
  });
  return settled.length / FUTURES;
}
