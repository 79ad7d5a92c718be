// Which threshold speaks of a count, and how many of what it counts each set held: as the modules
// count_lines and pooled_counts have it. `rules` is what sheet_rules.py laid out.

const NEVER = /\b(eggs?|pupa|pupae|cocoons?|dead|diseased|mummy|mummies)\b/;
const SMALL = /\b(small|medium|tiny|young|early|hatchlings?|under|below)\b/;
const GROWN = /\b(adults?|moths?|beetles?)\b/;
const YOUNG = /\b(larvae|larva|worms?|caterpillars?|grubs?|nymphs?)\b/;
const LARGE = /\b(large|big|late|grown|or more|and (over|up|more)|over|above)\b/;
const EVERYTHING = { large: false, young: false, nymphs: false, adults: false };

// Place of a stage among the crop events; V5 and later nodes stand with V4.
function stagePlace(stage, rules) {
  const place = rules.order.indexOf(stage);
  if (place >= 0) return place;
  return stage.startsWith('V') ? rules.order.indexOf('V4') : 0;
}

// The crop stage that counts are held against, and whether somebody saw it.
function stageOf(visit, stop, rules) {
  if (!visit.stage) return { stage: stop.stage, seen: stop.stage_seen };
  if (visit.share === null || visit.share / 100 >= rules.half) {
    // R6.5 is not noted: the forecast says from which day it parts R6.
    const late = visit.stage === 'R6' && stop.forecast === 'R6.5';
    return { stage: late ? stop.forecast : visit.stage, seen: true };
  }
  // Less than half of the plants: the stage was not reached, so none from it on counts.
  const place = stagePlace(visit.stage, rules);
  const before = stagePlace(stop.forecast, rules) >= place && place > 0;
  return { stage: before ? rules.order[place - 1] : stop.forecast, seen: false };
}

function lookedFor(set) {
  return [...new Set(set.counts.filter((c) => !NEVER.test(c.life)).map((c) => c.pest))];
}

function lifeCounts(life, wanted) {
  if (NEVER.test(life)) return false;
  if (wanted.large && SMALL.test(life)) return false;
  if (wanted.adults && YOUNG.test(life)) return false;
  return !(wanted.young && GROWN.test(life));
}

function lifeDoubts(life, wanted) {
  const grown = GROWN.test(life);
  const unsized = wanted.large && !LARGE.test(life) && !grown;
  const unaged = (wanted.nymphs && !YOUNG.test(life)) || (wanted.adults && !grown);
  return lifeCounts(life, wanted) && (unsized || unaged);
}

// What counts in every set in which any of the pests was looked for. `weights` is a Map.
function pool(sets, weights, wanted) {
  const ours = sets.filter((set) => lookedFor(set).some((pest) => weights.has(pest)));
  if (!ours.length) return null;
  const looked = ours.map((set) => lookedFor(set).filter((pest) => weights.has(pest)));
  const everyone = [...weights.keys()].filter((p) => looked.some((names) => names.includes(p)));
  const number = (set, pest) => set.counts
    .filter((c) => c.pest === pest && lifeCounts(c.life, wanted))
    .reduce((sum, c) => sum + c.n, 0);
  const counts = ours.map((set) => everyone
    .reduce((sum, pest) => sum + weights.get(pest) * number(set, pest), 0));
  return {
    counts,
    sizes: ours.map((set) => set.size),
    total: counts.reduce((sum, count) => sum + count, 0),
    parts: everyone.map((pest) => [pest, ours.reduce((sum, s) => sum + number(s, pest), 0)]),
    unsorted: ours.some((set) => set.counts
      .some((c) => c.n > 0 && weights.has(c.pest) && lifeDoubts(c.life, wanted))),
    uneven: looked.some((names) => names.length !== everyone.length),
  };
}

// The lines of what was looked for in one unit: each with `pest`, `weights`, and a threshold `t`
// or the reason why none speaks.
function countLines(named, of, stage, rules) {
  const merged = new Map();
  for (const line of everyLine(named, of, stagePlace(stage, rules), rules)) {
    const joins = line.t && line.t.source >= 0 && !rules.judged.includes(of);
    const key = joins ? line.t.source : line;
    const known = merged.get(key);
    if (known) {
      known.weights = new Map([...known.weights, ...line.weights]);
      known.usual = known.usual || line.usual;
    } else {
      merged.set(key, line);
    }
  }
  return [...merged.values()].map((line) => told(line, of, stage, rules));
}

// Lines of every complex and pest, before those of one source are joined.
function everyLine(named, of, place, rules) {
  const known = named.filter((pest) => rules.pests[pest]);
  const wholes = [...new Set(known.map((p) => rules.pests[p].with).filter((p) => p !== null))];
  const found = [];
  for (const whole of wholes) {
    const members = new Map();
    for (const pest of known) {
      if (pest === whole) members.set(pest, 1);
      else if (rules.pests[pest].with === whole) members.set(pest, rules.pests[pest].weight);
    }
    found.push(...linesOf(whole, members, of, place, rules));
  }
  for (const pest of known) {
    if (wholes.includes(pest)) continue;
    const own = linesOf(pest, new Map([[pest, 1]]), of, place, rules);
    // Where no threshold is for a species alone, its complex speaks for it.
    if (rules.pests[pest].with === null || own.some((line) => line.t)) found.push(...own);
  }
  return found;
}

function linesOf(pest, members, of, place, rules) {
  const lines = [];
  for (const said of rules.told[rules.held[of][pest][place]]) {
    if (said.silence) {
      lines.push({ ...said, pest, weights: members, t: null, usual: true, leftOut: [] });
      continue;
    }
    const kept = [...members].filter(([one]) => !said.only || said.only.includes(one));
    if (!kept.length) continue;
    const t = rules.thresholds[said.threshold];
    lines.push({ pest, weights: new Map(kept), t, usual: said.usual, leftOut: [] });
  }
  return lines;
}

// A line with what else its source counts, and weights in that source's own words.
function told(line, of, stage, rules) {
  if (line.silence) return { ...line, why: line.why.replace('{stage}', stage) };
  if (line.t.source < 0 || rules.judged.includes(of) || line.t.sharing.length < 2) return line;
  const leaf = rules.leaf_pest;
  const missing = line.t.sharing.filter((p) => !line.weights.has(p) && p !== leaf);
  const together = line.t.sharing.includes(leaf) && line.weights.size > 1;
  const own = line.t.weights;
  const weighed = ([pest, weight]) => [pest, weight * (pest in own ? own[pest] : 1)];
  return {
    ...line,
    pest: together ? leaf : line.pest,
    weights: new Map([...line.weights].map(weighed)),
    leftOut: line.weights.has(leaf) ? [] : missing.map((pest) => rules.pests[pest].name),
  };
}
