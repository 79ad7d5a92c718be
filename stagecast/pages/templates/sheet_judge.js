// A visit held against its thresholds: answer and words as the modules judge and words/counts give
// them.

const CLOSE = 1e-9;
const NEARLY = 0.05;  // chances below it, and above its complement, are told no more closely
const TENTHS = 10;

// A number with so many decimals; what lies just between two goes to the even one.
function fixed(value, decimals) {
  const exact = value.toFixed(decimals + 40);
  const cut = exact.slice(0, exact.length - 40).replace(/\.$/, '');
  if (exact.slice(-40) !== `5${'0'.repeat(39)}`) return value.toFixed(decimals);
  const even = '02468'.includes(cut.slice(-1));
  return even ? cut : value.toFixed(decimals);
}

// Six digits at the most, without zeros at the end.
function short(value) {
  return String(Number(value.toPrecision(6)));
}

// A mean or total as people say it: 0.25, 6.5, 12, 130, 2000.
function numberText(value) {
  if (Number.isInteger(value)) return fixed(value, 0);
  if (value > 0 && value < 0.01) return 'under 0.01';
  if (value >= 1) return fixed(value, value < 100 ? 1 : 0);
  const decimals = 1 - Math.floor(Math.log10(value));
  return short(Number(fixed(value, decimals)));
}

// "86%"; a chance that is nearly none or nearly sure is not told more closely.
function chanceText(chance) {
  if (chance < NEARLY) return `under ${fixed(100 * NEARLY, 0)}%`;
  if (chance > 1 - NEARLY) return `over ${fixed(100 * (1 - NEARLY), 0)}%`;
  return `${fixed(100 * chance, 0)}%`;
}

function countedSets(number, kind = '') {
  return `${number} ${kind}${number === 1 ? 'set' : 'sets'}`;
}

// The rules with what is otherwise in a field, by when it was planted say.
function rulesOf(stop, rules) {
  const own = rules.aparts[rules.apart[stop.field_id]];
  if (!own) return rules;
  const held = { ...rules.held };
  for (const of of Object.keys(own.held)) held[of] = { ...held[of], ...own.held[of] };
  return { ...rules, held, leaf: own.leaf || rules.leaf };
}

// Everything that some sets of one visit say: lines that usually hold, and those under other
// conditions.
function judgeVisit(visit, sets, stop, general) {
  const rules = rulesOf(stop, general);
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
  const usual = usualSets(of, counts.sizes, rules);
  const alike = counts.sizes.every((size) => size === counts.sizes[0]);
  const size = alike ? counts.sizes[0] : usual.size;
  const summed = counts.sizes.reduce((sum, one) => sum + one, 0);
  const one = {
    of,
    parts: counts.parts.map(([pest, number]) => [pest, number, line.weights.get(pest)]),
    size,
    alike,
    mean: (counts.total * size) / summed,
    taken: counts.counts.length,
    threshold: line.t ? (line.t.value * size) / line.t.per : null,
    apart: line.t ? apartOf(line.t) : '',
    sampled: rules.judged.includes(of) ? null : sampledOf(counts, line, usual, rules),
    rule: rules.rule,
  };
  if (one.sampled !== null) weigh(one, usual.size / size);
  one.answer = line.silence || answerOf(one);
  one.tally = tallyOf(rules.pests[line.pest].tally[of], counts);
  if (one.answer === 'below' && one.tally && one.tally.says === 'confirm') one.answer = 'near';
  one.settles = one.answer === 'near' ? settlesOf(one) : null;
  return {
    pest: line.pest,
    parts: one.parts,
    size,
    sets: one.taken,
    mean: one.mean,
    low: one.sampled && one.low,
    high: one.sampled && one.high,
    threshold: one.threshold,
    apart: one.apart,
    text: line.t ? line.t.text : '',
    chance: chanceOf(one),
    answer: one.answer,
    missing: one.sampled && one.sampled.missing,
    stop: one.sampled !== null && couldStop(one),
    settles: one.settles,
    against: againstText(one, rules),
    tally: one.tally && tallyText(one.tally),
    next: line.silence ? [] : nextOf(one),
    why: line.why || whyOf(one),
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

// How many sets one takes in a unit, and how large the usual one is.
function usualSets(of, sizes, rules) {
  const { sets, size } = rules.usual[of];
  return { sets, size: size === null ? commonest(sizes) : size, sized: size !== null };
}

// The sets that a mean rests on, measured by the usual set of their unit.
function sampledOf(counts, line, usual, rules) {
  const shares = counts.sizes.map((one) => one / usual.size);
  const only = line.weights.size > 1 ? null : rules.pests[[...line.weights.keys()][0]].k;
  const published = rules.pests[line.pest].k === null ? only : rules.pests[line.pest].k;
  const sets = shares.reduce((sum, share) => sum + share, 0);
  return {
    counts: counts.counts,
    shares,
    total: counts.total,
    sets,
    usual,
    missing: Math.max(0, Math.ceil(usual.sets - (usual.sized ? sets : shares.length) - CLOSE)),
    prior: { ...rules.rule, k_usual: published === null ? rules.rule.k_usual : published },
  };
}

// What the sets say of the mean: its range, and the chance that it is over the threshold.
// `scale`: usual sets in a set of the size at hand, turned over.
function weigh(one, scale) {
  const { counts, shares, total, sets, prior } = one.sampled;
  const limit = one.threshold && one.threshold * scale;
  one.limit = limit;
  one.posterior = posteriorOf(counts, shares, limit || Math.max(total, 1) / sets, prior);
  [one.low, one.high] = intervalOf(one.posterior, one.rule.interval).map((end) => end / scale);
  one.chance = limit ? chanceOver(counts, shares, limit, prior) : null;
}

// Chance that the field's mean is over its threshold; null where there is none, or it is judged.
function chanceOf(one) {
  return one.sampled === null ? null : one.chance;
}

// By the chance; too few where sets are missing; by eye where nothing is counted.
function answerOf(one) {
  const chance = chanceOf(one);
  if (chance === null) return byEye(one.mean, one.threshold || 0, one.rule);
  if (one.sampled.missing) return 'too few';
  if (chance >= one.rule.above) return one.mean > 0 ? 'above' : 'near';
  return chance <= one.rule.below && one.mean < one.threshold ? 'below' : 'near';
}

// One number that was judged, or a threshold of none at all: plainly compared.
function byEye(value, threshold, rule) {
  if (value > 0 && value >= threshold) return 'above';
  return value > 0 && value >= rule.near_share * threshold ? 'near' : 'below';
}

// In how many of ten such fields as many sets again would settle it; null where too few.
function settlesOf(one) {
  if (chanceOf(one) === null) return null;
  const share = settledShare(one.posterior, one.sampled.usual.sets, one.limit, one.rule);
  return share >= one.rule.settle ? Number(fixed(TENTHS * share, 0)) : null;
}

// "11.5 of 9 per 25 sweeps (8.4-16.8)": the mean, its threshold, and the range.
function againstText(one, rules) {
  const unit = rules.judged.includes(one.of) ? ''
    : ` per ${one.size === 1 ? rules.one_of[one.of] : `${short(one.size)} ${one.of}`}`;
  const range = one.sampled === null ? '' : ` (${numberText(one.low)}-${numberText(one.high)})`;
  return `${amountText(one)}${unit}${range}`;
}

// "11.5 of 9", "0 of 50 adults"; the mean alone where there is no threshold.
function amountText({ mean, threshold, apart = '' }) {
  const limit = threshold === null ? '' : ` of ${limitText(threshold)}${apart && ` ${apart}`}`;
  return `${numberText(mean)}${limit}`;
}

// Nymphs and adults are told apart, as thresholds tell them; a caterpillar's name says it already.
function apartOf({ nymphs, adults }) {
  if (nymphs) return 'nymphs';
  return adults ? 'adults' : '';
}

// A threshold as it is, however small.
function limitText(value) {
  if (value === 0 || value >= 0.01) return numberText(value);
  return fixed(value, 1 - Math.floor(Math.log10(value))).replace(/0+$/, '');
}

// The answer in words and numbers.
function whyOf(one) {
  const limit = limitText(one.threshold || 0);
  const chance = chanceOf(one);
  if (chance === null) return `mean ${numberText(one.mean)} against ${limit}`;
  const found = one.parts.reduce((sum, [, number]) => sum + number, 0);
  const weighted = one.parts.some(([, number, weight]) => number > 0 && weight !== 1);
  const worth = weighted ? `, worth ${numberText(one.sampled.total)}` : '';
  const of = one.alike ? ` of ${short(one.size)}` : '';
  const said = `${numberText(found)} in ${countedSets(one.taken)}${of}${worth}, `
    + `chance over ${limit}: ${chanceText(chance)}`;
  return one.answer === 'too few' ? `${said}; ${missingText(one.sampled)}` : said;
}

function missingText({ missing, usual }) {
  const makes = missing === 1 ? 'makes' : 'make';
  return `${countedSets(missing, 'more ')} ${makes} the usual ${usual.sets} of ${short(usual.size)}`;
}

// "4 more sets would settle it in 6 of 10 such fields; else be back within 5 days".
function nearText(one) {
  const back = `be back within ${one.rule.near_days} days`;
  if (one.sampled === null) return back;
  if (one.settles === null) return `more sets would likely not settle it; ${back}`;
  const more = countedSets(one.sampled.usual.sets, 'more ');
  return `${more} would settle it in ${one.settles} of 10 such fields; else ${back}`;
}

// What a published plan by infested plants says, where single plants were counted.
function tallyOf(rule, { counts, sizes }) {
  if (!rule || counts.length < rule.plants || sizes.some((size) => size !== 1)) return null;
  const plants = counts.length;
  const infested = counts.filter((count) => count >= rule.infested).length;
  let says = 'go on';
  if (infested < rule.undecided) says = 'leave it';
  else if (infested === plants) says = 'confirm';
  return { infested, plants, says, rule };
}

function tallyText({ infested, plants, says, rule }) {
  const said = `${infested} of ${plants} plants have ${rule.infested} or more: `;
  const back = `${rule.confirm_soonest} to ${rule.confirm_latest} days`;
  if (says === 'leave it') return `${said}the plan says leave it`;
  if (says === 'confirm') {
    return `${said}the plan says treat, once a count ${back} later confirms it`;
  }
  return `${said}the plan is undecided, look again in ${back}`;
}

// Whether a field is so far over its threshold that the sets that are missing tell no more.
function couldStop({ answer, chance, sampled, rule }) {
  return answer === 'too few' && chance >= rule.stop && sampled.sets >= rule.stop_sets;
}

// What one may do now: sets that are missing, or more of them; never an order.
function nextOf(one) {
  if (one.tally) return [tallyText(one.tally)];
  if (one.answer === 'too few') {
    return [couldStop(one) ? 'could stop: over already' : missingText(one.sampled)];
  }
  return one.answer === 'near' ? [nearText(one)] : [];
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
    const sizes = [...new Set(counts.sizes)].sort((a, b) => a - b).map(short);
    const last = sizes.pop();
    notes.push(`sets of ${sizes.join(', ')} and ${last} ${of}, brought to ${short(size)} in proportion`);
  }
  const { t } = line;
  if (t && t.of === 'sweeps' && size !== t.per && size !== rules.usual_set) {
    const converted = limitText((t.value * size) / t.per);
    notes.push(`threshold converted from ${short(t.value)} per ${short(t.per)} to ${converted} `
      + `per ${short(size)} sweeps`);
  }
  return notes;
}

// Leaf loss of the whole canopy against the threshold at the stage.
function judgeLeaves(percent, stage, rules) {
  const held = rules.leaf[stagePlace(stage, rules)];
  if (held.silence) {
    const why = held.why.replace('{stage}', stage);
    return { percent, threshold: null, answer: held.silence, why, otherwise: [] };
  }
  const answer = (one) => byEye(percent, one.value, rules.rule);
  let why = `${short(percent)} percent leaf loss ${held.when}, threshold ${held.text}`;
  if (answer(held) === 'above') {
    why += '; most people guess too high: average top, middle and bottom leaflets';
  }
  const otherwise = held.otherwise.map((one) => ({ answer: answer(one), text: one.text }));
  return { percent, threshold: held.value, answer: answer(held), why, otherwise };
}
