'use strict';
// Enough sets, or one more: the same arithmetic as the modules wald, count_distribution and
// negative_binomial, term by term, so that the phone and the desk never answer differently.
// Names follow those modules; the papers are cited there.

const GRID = 61;
const TAIL_SD = 20;
const TAIL_MEAN = 1000;
const MOST_SCANNED = 100000;
const LIKELY = 0.5;

// Two parallel lines in a graph of insects in all over sets taken.
function waldLines(m0, m1, k, alpha, beta) {
  const one = Math.log(m1 / m0) - Math.log1p(m1 / k) + Math.log1p(m0 / k);
  const none = k * Math.log1p((m1 - m0) / (k + m0));
  return {
    slope: none / one,
    lower: Math.log((1 - alpha) / beta) / one,
    upper: Math.log((1 - beta) / alpha) / one,
  };
}

function lowerAt(lines, sets) {
  return lines.slope * sets - lines.lower;
}

function upperAt(lines, sets) {
  return lines.slope * sets + lines.upper;
}

// "above", "below", or null where the lines ask for another set.
function decide(total, sets, lines) {
  if (total >= upperAt(lines, sets)) return 'above';
  return total <= lowerAt(lines, sets) ? 'below' : null;
}

// What does not depend on the mean in the log-probabilities of 0 to `most`.
function coefficients(most, k) {
  const found = new Float64Array(most + 1);
  for (let i = 0; i < most; i += 1) {
    found[i + 1] = found[i] + (Math.log1p(i / k) - Math.log(i + 1));
  }
  return found;
}

// Probabilities of 0, 1, 2, ... at a mean.
function probabilities(fixed, mean, k) {
  if (mean === 0) return fixed.map((_, i) => (i === 0 ? 1 : 0));
  const none = -k * Math.log1p(mean / k);
  const each = Math.log(mean) - Math.log1p(mean / k);
  return fixed.map((term, i) => Math.exp(term + i * each + none));
}

// How a plan ends in a field of a known mean, from the sets already taken on: the probability of
// every total between the lines is carried from set to set, and what passes a line leaves.
function outcome(mean, plan, total, sets) {
  let going = [1];
  let start = total;
  let taken = sets;
  let settled = 0;
  let further = 0;
  for (;;) {
    const judged = taken >= 1;
    if (judged) {
      const low = lowerAt(plan.lines, taken);
      const high = upperAt(plan.lines, taken);
      let below = 0;
      const kept = [];
      going.forEach((chance, i) => {
        if (start + i <= low) below += 1;
        if (start + i <= low || start + i >= high) settled += chance;
        else kept.push(chance);
      });
      going = kept;
      start += below;
    }
    const left = going.reduce((sum, chance) => sum + chance, 0);
    if (taken + 1 > plan.most || (judged && left === 0)) break;
    further += judged ? left : 1;
    taken += 1;
    const reach = Math.max(0, Math.ceil(upperAt(plan.lines, taken) - start)) + 1;
    const step = probabilities(coefficients(reach - 1, plan.k), mean, plan.k);
    const next = new Array(reach).fill(0);
    going.forEach((chance, i) => {
      for (let j = 0; i + j < reach; j += 1) next[i + j] += chance * step[j];
    });
    going = next;
    settled += Math.max(0, left - going.reduce((sum, chance) => sum + chance, 0));
  }
  return { settled, further };
}

// How many more sets would likely settle it; null where no number that one would take does.
function moreSets(total, sets, meanGuess, plan) {
  if (sets >= 1 && decide(total, sets, plan.lines) !== null) return 0;
  const end = outcome(meanGuess, plan, total, sets);
  return end.settled <= LIKELY ? null : Math.ceil(end.further);
}

// How sure the sets make one that the mean is above the threshold; null where counts are so many
// that no sum of terms is made of them.
function probabilityAbove(total, sets, k, threshold) {
  if (total > MOST_SCANNED) return null;
  const size = sets * k;
  const whole = Math.floor(total);
  const terms = probabilities(coefficients(whole + 1, size), threshold * sets, size);
  let before = 0;
  for (let i = 0; i < whole; i += 1) before += terms[i];
  const middle = before + terms[whole] / 2;
  const next = before + terms[whole] + terms[whole + 1] / 2;
  return Math.min(Math.max(middle + (total - whole) * (next - middle), 0), 1);
}

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

// Sets of any size as so many of usual size, with a k of their own.
function pooledSets(shares, k) {
  const sets = sumOf(shares);
  const spread = sumOf(shares.map((share) => Math.max(share, share * share)));
  return { sets, k: (k * sets) / spread };
}

// Natural logarithm of the gamma function: Stirling's series, from where it is exact on.
function logGamma(x) {
  let shift = 0;
  let at = x;
  while (at < 15) {
    shift += Math.log(at);
    at += 1;
  }
  const i = 1 / at;
  const s = i * i;
  const series = i * (1 / 12 - s * (1 / 360 - s * (1 / 1260 - s * (1 / 1680 - s * (1 / 1188
    - s * (691 / 360360 - s / 156))))));
  return (at - 0.5) * Math.log(at) - at + 0.5 * Math.log(2 * Math.PI) + series - shift;
}

// k from a field's own sets, drawn to the assumed one as if that were so many sets more.
function estimateK(counts, shares, rule) {
  if (counts.length < 2 || counts.every((count) => count === 0)) {
    return { k: rule.k_usual, assumed: true };
  }
  const mean = sumOf(counts) / sumOf(shares);
  const pull = rule.k_prior_sets * information(Math.min(mean, TAIL_MEAN), rule.k_usual);
  const height = (logK) => {
    const off = logK - Math.log(rule.k_usual);
    return adjustedLikelihood(counts, shares, mean, Math.exp(logK)) - 0.5 * pull * off * off;
  };
  const best = highest(height, Math.log(rule.k_least), Math.log(rule.k_most));
  return { k: Math.min(Math.max(Math.exp(best), rule.k_least), rule.k_most), assumed: false };
}

// Log-likelihood of a k at the mean, adjusted for the mean's having been estimated.
function adjustedLikelihood(counts, shares, mean, k) {
  let fit = 0;
  let onMean = 0;
  counts.forEach((count, i) => {
    const r = k * Math.min(shares[i], 1);
    const m = shares[i] * mean;
    fit += logGamma(r + count) - logGamma(r) - r * Math.log1p(m / r)
      + count * Math.log(m / (r + m));
    onMean += (shares[i] * shares[i]) / (m + (m * m) / r);
  });
  return fit - 0.5 * Math.log(onMean);
}

// Fisher information on log k of one set.
function information(mean, k) {
  const most = Math.ceil(mean + TAIL_SD * Math.sqrt(mean + (mean * mean) / k)) + 1;
  const terms = probabilities(coefficients(most, k), mean, k);
  let reached = 0;
  let sums = 0;
  terms.forEach((chance, j) => {
    reached += chance;
    sums += Math.max(1 - reached, 0) / ((k + j) * (k + j));
  });
  return Math.max(0, k * k * (sums - mean / (k * (k + mean))));
}

// Where a function is highest: on a grid, and on a finer one round its best point.
function highest(height, low, high) {
  let from = low;
  let to = high;
  let found = low;
  for (let round = 0; round < 2; round += 1) {
    const step = (to - from) / (GRID - 1);
    const start = from;
    const end = to;
    const at = (i) => (i === GRID - 1 ? end : start + i * step);
    let best = 0;
    let most = height(at(0));
    for (let i = 1; i < GRID; i += 1) {
      const here = height(at(i));
      if (here > most) [best, most] = [i, here];
    }
    found = at(best);
    from = at(Math.max(best - 1, 0));
    to = at(Math.min(best + 1, GRID - 1));
  }
  return found;
}
