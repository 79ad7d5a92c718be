// The sets of a stop and the forms that it is filled in by: a stand, leaf loss by places, or sets
// in one unit. Each unit has a set of its own that is being counted, so that aphids on plants and
// bugs in the net never come into one.

const STAND = 'stand';
const LEAVES = 'leaf';
const RATED = 'rating';
const SINGLE = ['plants', 'leaflets'];  // counted one by one, often to many

// The forms of a stop, that of the plan first, then the units of its pests and of what was counted.
function formsOf(said, stop) {
  const first = stop.form === 'sets' ? stop.of : stop.form;
  const homes = stop.pests.map((pest) => stop.home[pest]);
  return [...new Set([first, ...homes, ...countedSetsOf(said).map((set) => set.of)])];
}

// The form at hand: the one that was asked for last, as long as the set at hand is in its unit.
function formAt(book, stop) {
  const said = book.visit(stop.field_id);
  const asked = book.forms.get(stop.field_id) || formsOf(said, stop)[0];
  return asked === STAND || asked === LEAVES ? asked : said.sets[said.at].of;
}

// Go over to a form: to the set in its unit that is being counted.
function openForm(book, stop, form) {
  book.forms.set(stop.field_id, form);
  if (form === STAND || form === LEAVES) return;
  if (book.visit(stop.field_id).sets[book.visit(stop.field_id).at].of === form) return;
  book.change(stop.field_id, `on to ${form}`, (visit) => toOpenSet(visit, {
    of: form, size: usualSize(book.data.rules, stop, form),
  }));
}

function usualSize(rules, stop, of) {
  if (of === stop.of) return stop.size;
  return rules.usual[of].size || 1;
}

// Make the open set of a unit the one at hand; a blank one where there is none.
function toOpenSet(visit, like) {
  const at = visit.sets.findIndex((set) => set.open && set.of === like.of);
  if (at < 0) visit.sets.push(blankSet(like));
  visit.at = at < 0 ? visit.sets.length - 1 : at;
}

// The set that was drawn; another window may have taken it back meanwhile.
function setAt(said, at) {
  return said.sets[at] || said.sets[said.sets.length - 1];
}

function doneSets(said) {
  return said.sets.filter((set) => !set.open && set.counts.length);
}

// Places, in the list of all, of the sets in one unit.
function placesOf(said, of) {
  return [...said.sets.keys()].filter((i) => said.sets[i].of === of);
}

// How many of a form are planned, and how many are done.
function wantedOf(rules, stop, form) {
  const planned = formsOf({ sets: [] }, stop)[0] === form;
  return planned || form === STAND || form === LEAVES ? stop.wanted_sets : rules.usual[form].sets;
}

function doneOf(said, form) {
  if (form === STAND) return said.standing.counts.length;
  if (form === LEAVES) return (said.leaves || []).length;
  return doneSets(said).filter((set) => set.of === form).length;
}

// "Set", or what one looks at instead of one.
function wordOf({ of, size }) {
  if (SINGLE.includes(of) && size === 1) return of === 'plants' ? 'Plant' : 'Leaflet';
  return of === RATED ? 'Place' : 'Set';
}

// What has a button in a set: the pests that are asked for in its unit, told apart by age or size
// where their threshold does so, and every other that some set in this unit names.
function countedHere(book, stop) {
  const said = book.visit(stop.field_id);
  const { of } = said.sets[said.at];
  const asked = stop.pests.filter((pest) => stop.home[pest] === of);
  const noneAsked = !asked.length && !Object.values(stop.home).includes(of);
  const keys = new Map();
  for (const pest of noneAsked ? stop.pests : asked) {
    for (const life of livesOf(book, stop, pest, of)) keys.set(`${pest} ${life}`, { pest, life });
  }
  for (const set of said.sets.filter((one) => one.of === of)) {
    for (const { pest, life } of set.counts) keys.set(`${pest} ${life}`, { pest, life });
  }
  return [...keys.values()];
}

// The life stages that a threshold tells apart at the stage of the crop; [''] for all together.
function livesOf(book, stop, pest, of) {
  if (of === RATED) return [''];
  const rules = rulesOf(stop, book.data.rules);
  const { stage } = stageOf(book.visit(stop.field_id), stop, rules);
  const lines = rules.told[rules.held[of][pest][stagePlace(stage, rules)]];
  const wanted = lines.filter((line) => line.usual && !line.silence)
    .map((line) => rules.thresholds[line.threshold]);
  if (wanted.some((t) => t.large)) {
    return wanted.some((t) => t.large && t.young) ? ['large larvae', 'small larvae'] : ['large', 'small'];
  }
  return wanted.some((t) => t.nymphs || t.adults) ? ['nymphs', 'adults'] : [''];
}

function countOf(set, { pest, life }) {
  const found = set.counts.find((count) => count.pest === pest && count.life === life);
  return found ? found.n : null;
}

// Write a count into a set; null takes it out: it was not looked for.
function setCount(set, { pest, life }, n) {
  const found = set.counts.find((count) => count.pest === pest && count.life === life);
  if (n === null) set.counts = set.counts.filter((count) => count !== found);
  else if (found) found.n = n;
  else set.counts.push({ pest, life, n });
}

function nameOf(rules, { pest, life }) {
  const { name } = rules.pests[pest] || { name: pest };
  return life ? `${name}, ${life}` : name;
}

// "25 sweeps", "1 plant".
function sizeText(rules, { size, of }) {
  return `${short(size)} ${size === 1 ? rules.one_of[of] : of}`;
}
