// What the phone keeps of a day, as text: its shape, and where what has another shape is put.

const FORM = 2;
const KEY_BEGINS = 'stagecast sheet ';
const ASIDE = ' unread';

const isText = (value) => typeof value === 'string';
// Larger numbers are in no phone of ours, and some would never be drawn to the end.
const MOST = 1e9;
const isNumber = (value) => Number.isFinite(value) && value >= 0 && value <= MOST;
const isNone = (value) => value === null || isNumber(value);
const isClock = (value) => isText(value) && /^(([01]\d|2[0-3]):[0-5]\d)?$/.test(value);
const isThing = (value) => value !== null && typeof value === 'object' && !Array.isArray(value);
const isList = (value, each) => Array.isArray(value) && value.every(each);

function isCount(count) {
  return isThing(count) && isText(count.pest) && !(count.pest in {}) && isText(count.life)
    && isNumber(count.n);
}

function isSet(set, rules) {
  return isThing(set) && isNumber(set.size) && set.size > 0 && rules.units.includes(set.of)
    && isList(set.counts, isCount) && [undefined, true].includes(set.open);
}

// What was noted at a stop.
function isSaid(said, rules) {
  return isThing(said) && [said.stage, said.stand, said.method, said.notes].every(isText)
    && /^(V[EC]|V[1-9][0-9]?|R[1-8])?$/.test(said.stage)
    && isNone(said.share) && isNone(said.defoliation)
    && isThing(said.standing) && isNumber(said.standing.length) && isText(said.standing.unit)
    && isList(said.standing.counts, isNumber)
    // A day that was kept before there were row widths, hoops and gaps is read too.
    && isNone(said.standing.width ?? null) && isNone(said.standing.hoop ?? null)
    && isList(said.standing.gaps ?? [], isNone)
    && isClock(said.arrived ?? '') && isClock(said.left ?? '')
    && isList(said.leaves ?? [], isNumber)
    && isList(said.sets, (set) => isSet(set, rules)) && said.sets.length > 0
    && Number.isInteger(said.at) && said.at >= 0 && said.at < said.sets.length;
}

function isVersion(version) {
  return isThing(version) && [version.id, version.corrects, version.said].every(isText)
    && ['held', 'shown', 'sent'].includes(version.how)
    && isList(parsed(version.said), (row) => isThing(row) && Object.values(row).every(isText));
}

function isVisit(visit, rules) {
  return isThing(visit) && [visit.field, visit.label, visit.start].every(isText)
    && isSaid(visit.said, rules) && isList(visit.sent, isVersion);
}

function isStep(step) {
  return isThing(step) && isText(step.field) && isText(step.before) && isText(step.what)
    && (step.mark === null || isText(step.mark));
}

function parsed(text) {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}

// A day as it was kept; null for anything else.
function readState(text, rules) {
  const found = parsed(text);
  const whole = isThing(found) && found.form === FORM
    && [found.day, found.day_text, found.digest, found.who].every(isText)
    && isList(found.visits, (visit) => isVisit(visit, rules)) && isList(found.undo, isStep)
    && isList(found.added ?? [], isText) && isNumber(found.writes ?? 0);
  if (!whole) return null;
  found.visits.forEach((visit) => withOpenSet(visit.said));
  return found;
}

// A day that was kept before sets said so themselves: its last set is the one being counted.
function withOpenSet(said) {
  if (!said.sets.some((set) => set.open)) said.sets[said.sets.length - 1].open = true;
  return said;
}

// Every text kept under a sheet's key; none where nothing can be read.
function keptTexts(storage) {
  const found = [];
  try {
    for (let i = 0; storage && i < storage.length; i += 1) {
      const key = storage.key(i);
      if (key.startsWith(KEY_BEGINS)) found.push({ key, text: storage.getItem(key) });
    }
  } catch {
    return [];
  }
  return found.sort((one, other) => (one.key < other.key ? -1 : 1));
}

// Keep a text that is no day under a key of its own, once; whether it is kept.
function putAside(storage, key, text) {
  for (let i = 1; ; i += 1) {
    const name = `${key}${ASIDE} ${i}`;
    try {
      const there = storage.getItem(name);
      if (there === text) return true;
      if (there === null) {
        storage.setItem(name, text);
        return true;
      }
    } catch {
      return false;
    }
  }
}

// What cannot be read: what was put aside, and other days of no shape that is known.
function unreadTexts(storage, rules) {
  return keptTexts(storage)
    .filter(({ key, text }) => key.includes(ASIDE) || !readState(text, rules));
}

// The other days, each as a book of its own.
function otherBooks(data, storage) {
  const { rules } = data;
  return keptTexts(storage)
    .filter(({ key }) => key !== data.key && !key.includes(ASIDE))
    .map(({ key, text }) => ({ key, state: readState(text, rules) }))
    .filter(({ state }) => state !== null)
    .map(({ key, state }) => openBook({
      key, day: state.day, day_text: state.day_text, scout: state.who, digest: state.digest,
      stops: [], rules,
    }, storage));
}

// Make room: nobody takes back steps of another day.
function forgetSteps(data, storage) {
  for (const { key, text } of keptTexts(storage)) {
    const state = key === data.key || key.includes(ASIDE) ? null : readState(text, data.rules);
    if (!state || !state.undo.length) continue;
    try {
      storage.setItem(key, JSON.stringify({ ...state, undo: [] }));
    } catch {
      return;
    }
  }
}
