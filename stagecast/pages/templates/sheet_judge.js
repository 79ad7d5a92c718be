// A visit held against its thresholds: answer and words as the module judge_counts gives them.

const MANY = 100;
const CLOSE = 1e-9;

// A number with so many decimals; what lies just between two goes to the even one.
function fixed(value, decimals) {
  const exact = value.toFixed(decimals + 40);
  const cut = exact.slice(0, exact.length - 40);
  if (exact.slice(-40) !== `5${'0'.repeat(39)}`) return value.toFixed(decimals);
  const even = '02468'.includes(cut.slice(-1));
  return even ? cut : value.toFixed(decimals);
}

// Six digits at the most, without zeros at the end.
function short(value) {
  return String(Number(value.toPrecision(6)));
}

// A mean or total as people say it: 0.25, 6.5, 12, 130.
function numberText(value) {
  if (Number.isInteger(value)) return fixed(value, 0);
  if (value >= 1) return fixed(value, 1);
  const decimals = 1 - Math.floor(Math.log10(value));
  return short(Number(fixed(value, decimals)));
}

function countedSets(number, kind = '') {
  return `${number} ${kind}${number === 1 ? 'set' : 'sets'}`;
}

// Everything that some sets of one visit say: lines that usually hold, and those under other
// conditions.
function judgeVisit(visit, sets, stop, rules) {
  const { stage, seen } = stageOf(visit, stop, rules);
  const lines = [];
  for (const of of [...new Set(sets.map((set) => set.of))]) {
    const ours = sets.filter((set) => set.of === of);
    const named = [...new Set(ours.flatMap((set) => {
      const looked = lookedFor(set);
      return set.counts.map((c) => c.pest).filter((pest) => looked.includes(pest));
    }))];
    for (const line of countLines(named, of, stage, rules)) {
      lines.push({ of, usual: line.usual, ...judgeLine(ours, line, of, rules) });
    }
  }
  return {
    stage,
    seen,
    pests: lines.filter((line) => line.usual),
    otherwise: lines.filter((line) => !line.usual),
    leaf: visit.defoliation === null ? null : judgeLeaves(visit.defoliation, stage, rules),
  };
}

function judgeLine(sets, line, of, rules) {
  const counts = pool(sets, line.weights, line.t || EVERYTHING);
  const usual = of === 'sweeps' ? rules.usual_set : commonest(counts.sizes);
  const alike = counts.sizes.every((size) => size === counts.sizes[0]);
  const size = alike ? counts.sizes[0] : usual;
  const summed = counts.sizes.reduce((sum, one) => sum + one, 0);
  const one = {
    mean: (counts.total * size) / summed,
    size,
    taken: counts.counts.length,
    sampled: sampled(counts, line, of, size, usual, rules),
    threshold: line.t ? (line.t.value * size) / line.t.per : null,
    rule: rules.rule,
  };
  one.plan = planOf(one, 1);
  const judged = line.silence ? null : answerOf(one);
  return {
    pest: line.pest,
    parts: counts.parts.map(([pest, number]) => [pest, number, line.weights.get(pest)]),
    size,
    sets: one.taken,
    mean: one.mean,
    total: counts.total,
    k: one.sampled && one.sampled.k,
    threshold: one.threshold,
    text: line.t ? line.t.text : '',
    lines: one.plan && one.plan.lines,
    answer: line.silence || judged,
    why: line.why || whyOf(one),
    more: moreOf(one),
    notes: notesOf(counts, line, of, size, rules),
  };
}

// The size that most sets have, the larger of several.
function commonest(sizes) {
  const often = (size) => sizes.filter((other) => other === size).length;
  return sizes.reduce((best, size) => {
    const more = often(size) - often(best);
    return more > 0 || (more === 0 && size > best) ? size : best;
  });
}

// Sets, total and k per set of a size; null for what is judged and not counted.
function sampled(counts, line, of, size, usual, rules) {
  if (rules.judged.includes(of)) return null;
  const shares = counts.sizes.map((one) => one / usual);
  const only = line.weights.size > 1 ? null : rules.pests[[...line.weights.keys()][0]].k;
  const published = rules.pests[line.pest].k === null ? only : rules.pests[line.pest].k;
  const k = published === null ? estimateK(counts.counts, shares, rules.rule).k : published;
  const together = pooledSets(shares, k);
  return {
    sets: (together.sets * usual) / size, total: counts.total, k: (together.k * size) / usual,
  };
}

// The sequential test of the threshold, in insects divided by `scale`.
function planOf(one, scale) {
  if (one.sampled === null || !one.threshold) return null;
  const { rule } = one;
  const threshold = one.threshold / scale;
  const lines = waldLines(rule.lower_share * threshold, rule.upper_share * threshold,
    one.sampled.k, rule.error_above, rule.error_below);
  return { lines, k: one.sampled.k, most: rule.most_sets };
}

function crossed(one) {
  return one.plan && decide(one.sampled.total, one.sampled.sets, one.plan.lines);
}

function ended(one) {
  return one.sampled !== null && one.sampled.sets >= one.rule.most_sets;
}

// The sequential test's answer; at its end that of the mean.
function answerOf(one) {
  const found = crossed(one);
  if (found) return found;
  const threshold = one.threshold || 0;
  if (!one.plan) return one.mean > 0 && one.mean >= threshold ? 'above' : 'below';
  if (ended(one)) return one.mean > threshold ? 'above' : 'below';
  return 'not enough sets';
}

// How many more sets would likely settle it.
function moreOf(one) {
  if (!one.plan) return null;
  if (crossed(one) !== null || ended(one)) return 0;
  const scale = Math.max(1, one.threshold / MANY);
  const { total, sets } = one.sampled;
  return moreSets(total / scale, sets, one.mean / scale, planOf(one, scale));
}

// The answer in words and numbers.
function whyOf(one) {
  if (!one.plan) {
    return `mean ${numberText(one.mean)} against ${numberText(one.threshold || 0)}`;
  }
  const { sets, total } = one.sampled;
  const { lines, most } = one.plan;
  let said = `${numberText(total)} in ${countedSets(one.taken)}`;
  if (Math.abs(sets - one.taken) > CLOSE) {
    said += `, worth ${numberText(sets)} of ${short(one.size)}`;
  }
  const [lower, upper] = [lowerAt(lines, sets), upperAt(lines, sets)];
  const found = crossed(one);
  if (found === 'above') return `${said}: the sequential test says above from ${fixed(upper, 1)} on`;
  if (found === 'below') return `${said}: the sequential test says below up to ${fixed(lower, 1)}`;
  if (ended(one)) return `${said}: the test ends with ${most} sets, and the mean decides`;
  said += `: the sequential test says above from ${fixed(upper, 1)} on`;
  said += lower >= 0 ? `, below up to ${fixed(lower, 1)}` : ', and not yet below';
  return `${said}; ${settledBy(one)}`;
}

function settledBy(one) {
  const more = moreOf(one);
  const { sets, total, k } = one.sampled;
  const chance = probabilityAbove(total, sets, k, one.threshold);
  const likely = more === null
    ? `${one.plan.most} sets would likely not settle it`
    : `about ${countedSets(more, 'more ')} would likely settle it`;
  if (chance === null) return likely;
  if (chance <= 1 - one.rule.sure) return `it is probably below, and ${likely}`;
  return chance >= one.rule.sure ? `it is probably above, and ${likely}` : likely;
}

// What was assumed in adding up.
function notesOf(counts, line, of, size, rules) {
  const notes = [];
  const heavy = [...line.weights].filter(([, weight]) => weight !== 1)
    .map(([pest, weight]) => `each ${rules.pests[pest].name} as ${short(weight)}`);
  if (heavy.length) notes.push(`counted ${heavy.join(', ')}`);
  else if (counts.parts.length > 1) {
    notes.push('one of each counts as one: no other equivalents are published');
  }
  if (line.leftOut.length) {
    notes.push(`the threshold also counts, but no set names, ${line.leftOut.join(', ')}`);
  }
  if (counts.uneven) {
    notes.push('not every kind was looked for in every set: the sum may be low');
  }
  if (counts.unsorted) {
    notes.push('what was not told apart by size or life stage is counted in full');
  }
  if (counts.sizes.some((one) => one !== counts.sizes[0])) {
    const sizes = [...new Set(counts.sizes)].sort((a, b) => a - b).map(short).join(' and ');
    notes.push(`sets of ${sizes} ${of}, brought to ${short(size)} in proportion`);
  }
  const { t } = line;
  if (t && t.of === 'sweeps' && size !== t.per && size !== rules.usual_set) {
    const converted = numberText((t.value * size) / t.per);
    notes.push(`threshold converted from ${short(t.value)} per ${short(t.per)} to ${converted} `
      + `per ${short(size)} sweeps`);
  }
  return notes;
}

// Leaf loss of the whole canopy against the threshold at the stage.
function judgeLeaves(percent, stage, rules) {
  const held = rules.leaf[stagePlace(stage, rules)];
  if (held.silence) {
    return { answer: held.silence, why: held.why.replace('{stage}', stage), otherwise: [] };
  }
  const answer = (one) => (percent >= one.value && percent > 0 ? 'above' : 'below');
  let why = `${short(percent)} percent leaf loss ${held.when}, threshold ${held.text}`;
  if (answer(held) === 'above') {
    why += '; most people guess too high: average top, middle and bottom leaflets';
  }
  const otherwise = held.otherwise.map((one) => ({ answer: answer(one), text: one.text }));
  return { answer: answer(held), why, otherwise };
}
