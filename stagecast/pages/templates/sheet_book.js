// What was tapped: kept on the phone at every tap, undone step by step, and sent in versions.
// Before anything is handed out its version is frozen, since a log never changes what it has; what
// is tapped afterwards becomes a version with an id of its own that corrects the one before. An id
// is made of a start by chance and of what the version says, so that no id ever says two things,
// even where the phone could not keep what it had frozen. Every version is in every file, so that
// each file may be imported alone, in any order, as often as one likes.

const LEAST_UNDO = 50;
const MOST_UNDO = 200;
const STEERING = /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069]/g;
const HALVES = /[\ud800-\udfff]/gu;  // with this flag only those without their other half

// Text as the log takes it: without characters that no screen shows.
function plainText(text) {
  return text.replace(STEERING, '').replace(HALVES, '');
}

function blankVisit(stop) {
  const { length, unit } = (stop && stop.row) || { length: 10, unit: 'ft' };
  return {
    stage: '', share: null, stand: '', standing: { length, unit, counts: [] }, defoliation: null,
    leaves: [], method: stop ? stop.method : '', notes: '', at: 0, sets: [blankSet(stop)],
    arrived: '', left: '',
  };
}

// A set that is being counted; once it is done it is open no more.
function blankSet(like) {
  const { size, of } = like || { size: 25, of: 'sweeps' };
  return { size, of, counts: [], open: true };
}

// The time of day on the phone, "08:05"; "" on any other day than that of the sheet.
function clockOn(day) {
  const now = new Date();
  const two = (number) => String(number).padStart(2, '0');
  const today = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  return today === day ? `${two(now.getHours())}:${two(now.getMinutes())}` : '';
}

// What begins the ids of a visit, as no other visit's do, on this phone or on another.
function newStart() {
  const source = window.crypto;
  if (source && source.getRandomValues) {
    const bytes = source.getRandomValues(new Uint8Array(8));
    return `p${[...bytes].map((byte) => byte.toString(16).padStart(2, '0')).join('')}`;
  }
  const random = Math.floor(Math.random() * 2 ** 40).toString(16).padStart(10, '0');
  return `p${Date.now().toString(16).padStart(12, '0')}${random}`;
}

// The 128-bit FNV-1a hash over UTF-16 units: it tells texts apart, and keeps no secret.
function digestOf(text) {
  let hash = 0x6c62272e07bb014262b821756295c58dn;
  for (let i = 0; i < text.length; i += 1) {
    hash = BigInt.asUintN(128, (hash ^ BigInt(text.charCodeAt(i))) * 0x1000000000000000000013bn);
  }
  return hash.toString(16).padStart(32, '0').slice(0, 20);
}

// The book of one day. `storage` is what keeps text under a key, or null where there is none; `tab`
// the same for this tab alone. A browser hands what it keeps to another process in the background,
// so that a page which is loaded anew right after a tap may find less in storage than the tab has.
function openBook(data, storage, tab = null) {
  const stops = new Map(data.stops.map((stop) => [stop.field_id, stop]));
  const book = { data, stops, kept: storage !== null, state: null, foreign: new Set() };
  let seen = null;  // the text under the key as it was last read or written
  let blocked = false;  // what stands there cannot be read and could not be put aside

  function fresh() {
    const { day, day_text: told, digest, scout } = data;
    return { form: FORM, day, day_text: told, digest, who: scout, visits: [], undo: [], added: [] };
  }

  function stored() {
    try {
      return storage && storage.getItem(data.key);
    } catch {
      book.kept = false;
      return null;
    }
  }

  // What this tab has of the day, where that is newer than what was found; else what was found.
  function newest(found) {
    let text = null;
    try {
      text = tab && tab.getItem(data.key);
    } catch {
      return found;
    }
    const ours = text && readState(text, data.rules);
    return ours && (!found || (ours.writes || 0) > (found.writes || 0)) ? ours : found;
  }

  function keepInTab(text) {
    try {
      if (tab) tab.setItem(data.key, text);
    } catch {
      // The day itself is kept, or it is said that it is not.
    }
  }

  // Go on from what another window wrote; fields that it changed are in `foreign`. Where this one
  // could not write, what it holds is newer.
  book.sync = () => {
    if (book.state && !book.kept) return;
    const text = stored();
    if (book.state && (text === null || text === seen)) return;
    const found = text === null ? null : readState(text, data.rules);
    seen = text;
    if (text !== null && !found && !putAside(storage, data.key, text)) {
      blocked = true;
      book.kept = false;
    }
    if (book.state && found) {
      const ours = book.state.visits;
      const theirs = new Map(found.visits.map((visit) => [visit.field, visit]));
      const same = (one, other) => other && JSON.stringify(one) === JSON.stringify(other);
      const before = new Map(ours.map((visit) => [visit.field, visit]));
      found.visits.filter(({ field, said }) => !same(said, (before.get(field) || {}).said))
        .forEach(({ field }) => book.foreign.add(field));
      found.visits.push(...ours.filter(({ field }) => !theirs.has(field)));
      found.added = [...new Set([...(found.added || []), ...(book.state.added || [])])];
    }
    book.state = (book.state ? found : newest(found)) || book.state || fresh();
  };

  book.save = () => {
    const { state } = book;
    state.undo.splice(0, state.undo.length - MOST_UNDO);
    state.writes = (state.writes || 0) + 1;
    keepInTab(JSON.stringify(state));
    if (storage === null || blocked) return;
    const steps = state.undo;
    // Where room is short steps back go first, those of other days before the oldest of this one;
    // the counts themselves never do.
    for (const keep of [MOST_UNDO, MOST_UNDO, LEAST_UNDO, 0]) {
      try {
        const undo = keep ? steps.slice(-keep) : [];
        const text = JSON.stringify({ ...state, undo });
        storage.setItem(data.key, text);
        seen = text;
        book.kept = true;
        return;
      } catch {
        if (book.kept) forgetSteps(data, storage);
        book.kept = false;
      }
    }
  };

  // Write what was tapped and could not be written; nothing where all of it is kept.
  book.keep = () => {
    if (!book.kept) book.save();
  };

  const find = (field) => book.state.visits.find((visit) => visit.field === field);

  // Fields of which something was not sent yet.
  book.unsent = () => book.state.visits.map((visit) => visit.field)
    .filter((field) => !['nothing', 'sent'].includes(book.standing(field)));

  book.visit = (field) => {
    const found = find(field);
    return found ? found.said : blankVisit(stops.get(field));
  };

  // Change a visit. `what` tells the step; `mark` names a box that is typed in: typing on there
  // is one step back.
  book.change = (field, what, edit, mark = null) => {
    book.sync();
    const { state } = book;
    let visit = find(field);
    if (!visit) {
      const stop = stops.get(field);
      const label = stop ? stop.label : field;
      visit = { field, label, start: newStart(), sent: [], said: blankVisit(stop) };
      state.visits.push(visit);
    }
    const before = JSON.stringify(visit.said);
    const begun = hasContent(visit.said);
    edit(visit.said);
    if (JSON.stringify(visit.said) === before) return;
    // The first thing noted is when one came.
    if (!begun && hasContent(visit.said) && !visit.said.arrived) visit.said.arrived = clockOn(data.day);
    const last = state.undo[state.undo.length - 1];
    if (mark && last && last.mark === mark && last.field === field) last.what = what;
    else state.undo.push({ field, mark, before, what });
    book.save();
  };

  // What would be taken back: "stink bugs +1, stop 3"; "" for nothing.
  book.undoText = () => {
    const step = book.state.undo[book.state.undo.length - 1];
    if (!step) return '';
    const stop = stops.get(step.field);
    return `${step.what}, ${stop ? `stop ${stop.number}` : step.field}`;
  };

  // Take the last step back; the field that it was in, or null.
  book.undo = () => {
    book.sync();
    const step = book.state.undo.pop();
    if (!step) return null;
    const visit = find(step.field);
    const said = parsed(step.before);
    if (visit && isSaid(said, data.rules)) visit.said = withOpenSet(said);
    book.save();
    return step.field;
  };

  book.setWho = (name) => {
    book.sync();
    book.state.who = name;
    book.save();
  };

  // Note a field that is walked without having been on the sheet.
  book.add = (field) => {
    book.sync();
    book.state.added = [...new Set([...(book.state.added || []), field])];
    book.save();
  };

  // --- sending ---------------------------------------------------------------------------------

  // Whether any version may have come to a log.
  const wentOut = (visit) => visit.sent.some((version) => version.how !== 'held');
  const worth = (visit) => wentOut(visit) || hasContent(visit.said);
  const lastOf = (visit) => visit.sent[visit.sent.length - 1];

  function isFrozen(visit) {
    const last = lastOf(visit);
    return Boolean(last) && last.said === versionOf(book, visit);
  }

  // "nothing", "new" (never sent), "changed" since it was sent, "shown" as text, or "sent".
  book.standing = (field) => {
    const visit = find(field);
    if (!visit || !worth(visit)) return 'nothing';
    if (!isFrozen(visit)) return wentOut(visit) ? 'changed' : 'new';
    return { held: 'new', shown: 'shown', sent: 'sent' }[lastOf(visit).how];
  };

  // Rows for the log, and the ids in them, each of which is frozen from now on.
  book.freeze = () => {
    book.sync();
    const going = book.state.visits.filter(worth);
    for (const visit of going.filter((one) => !isFrozen(one))) {
      const last = lastOf(visit);
      const [said, corrects] = [versionOf(book, visit), last ? last.id : ''];
      const id = `${visit.start}-${digestOf(`${corrects} ${said}`)}`;
      visit.sent.push({ id, corrects, said, how: 'held' });
    }
    book.save();
    const versions = going.flatMap((visit) => visit.sent);
    const rows = versions.flatMap(({ id, corrects, said }) => JSON.parse(said)
      .map((row) => ({ ...row, visit_id: id, kind: 'visit', corrects })));
    return { rows, ids: new Set(versions.map((version) => version.id)) };
  };

  // Note how versions left the phone: "shown" or "sent".
  book.mark = (ids, how) => {
    book.sync();
    for (const version of book.state.visits.flatMap((visit) => visit.sent)) {
      if (ids.has(version.id) && version.how !== 'sent') version.how = how;
    }
    book.save();
  };

  book.sync();
  return book;
}

function versionOf(book, visit) {
  return JSON.stringify(visitRows(visit.said, {
    field_id: visit.field, date: book.data.day, who: book.state.who.trim(),
  }, book.data.rules));
}

function countedSetsOf(said) {
  return said.sets.filter((set) => set.counts.length);
}

// Whether a visit says anything that is worth logging.
function hasContent(said) {
  return Boolean(said.stage || said.standing.counts.length || said.stand.trim() || said.notes.trim()
    || said.defoliation !== null || countedSetsOf(said).length);
}
