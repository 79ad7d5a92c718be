// What was tapped: kept on the phone at every tap, undone step by step, and sent in versions.
// A visit has an id from its first tap on. Once it was sent that version is frozen, since a log
// never changes what it has; what is tapped afterwards becomes a version with an id of its own
// that corrects the one before. Every version is in every file, so that each may be imported
// alone, in any order, as often as one likes.

const LEAST_UNDO = 50;
const MOST_UNDO = 200;
const STEERING = /[\u0000-\u0008\u000b\u000c\u000e-\u001f\u007f-\u009f\u202a-\u202e\u2066-\u2069]/g;
const HALVES = /[\ud800-\udfff]/gu;  // with this flag only those without their other half

// Text as the log takes it: without characters that no screen shows.
function plainText(text) {
  return text.replace(STEERING, '').replace(HALVES, '');
}

function blankVisit(stop) {
  return {
    stage: '', share: null, stand: '', defoliation: null, method: stop ? stop.method : '',
    notes: '', at: 0, sets: [blankSet(stop)],
  };
}

function blankSet(like) {
  return { size: like ? like.size : 25, of: like ? like.of : 'sweeps', counts: [] };
}

// An id that no other visit has, on this phone or on another.
function newId() {
  const source = window.crypto;
  if (source && source.getRandomValues) {
    const bytes = source.getRandomValues(new Uint8Array(10));
    return `p${[...bytes].map((byte) => byte.toString(16).padStart(2, '0')).join('')}`;
  }
  const random = Math.floor(Math.random() * 2 ** 40).toString(16).padStart(10, '0');
  return `p${Date.now().toString(16).padStart(12, '0')}${random}`;
}

// The book of one sheet. `storage` is what keeps text under a key, or null where there is none.
function openBook(data, storage) {
  const stops = new Map(data.stops.map((stop) => [stop.field_id, stop]));
  const book = { data, stops, kept: storage !== null, trouble: '', state: null };

  function fresh() {
    return { form: 1, digest: data.digest, who: data.scout, visits: [], undo: [], unsent: 0 };
  }

  book.read = () => {
    let text = null;
    try {
      text = storage && storage.getItem(data.key);
    } catch {
      book.kept = false;
    }
    book.state = fresh();
    if (!text) return;
    try {
      const found = JSON.parse(text);
      if (found.form !== 1 || !Array.isArray(found.visits)) throw new Error('form');
      book.state = found;
    } catch {
      // Nothing that stood there is thrown away: somebody may still read it.
      book.trouble = 'What this phone had kept of the day cannot be read; it was put aside.';
      try {
        storage.setItem(`${data.key} unread`, text);
      } catch {
        book.kept = false;
      }
    }
  };

  book.save = () => {
    const { state } = book;
    state.undo.splice(0, state.undo.length - MOST_UNDO);
    if (storage === null) return;
    const steps = state.undo;
    state.unsent = book.unsent();
    // Where room is short steps back go first, those of other days before the oldest of this one;
    // the counts themselves never do.
    for (const keep of [MOST_UNDO, MOST_UNDO, LEAST_UNDO, 0]) {
      try {
        const undo = keep ? steps.slice(-keep) : [];
        storage.setItem(data.key, JSON.stringify({ ...state, undo }));
        book.kept = true;
        return;
      } catch {
        if (book.kept) forgetSteps(storage, data.key);
        book.kept = false;
      }
    }
  };

  const find = (field) => book.state.visits.find((visit) => visit.field === field);

  // How many visits say something that was not sent yet.
  book.unsent = () => book.state.visits
    .filter((visit) => ['new', 'changed'].includes(book.standing(visit.field))).length;

  book.visit = (field) => {
    const found = find(field);
    return found ? found.said : blankVisit(stops.get(field));
  };

  // Change a visit. `mark` names a box that is typed in: typing on there is one step back.
  book.change = (field, mark, edit) => {
    const { state } = book;
    let visit = find(field);
    if (!visit) {
      const stop = stops.get(field);
      const label = stop ? stop.label : field;
      visit = { field, label, id: null, sent: [], said: blankVisit(stop) };
      state.visits.push(visit);
    }
    const before = JSON.stringify(visit.said);
    edit(visit.said);
    if (JSON.stringify(visit.said) === before) return;
    const last = state.undo[state.undo.length - 1];
    if (!mark || !last || last.mark !== mark || last.field !== field) {
      state.undo.push({ field, mark, before });
    }
    if (visit.id === null) visit.id = newId();
    book.save();
  };

  // Take the last step back; the field that it was in, or null.
  book.undo = () => {
    const step = book.state.undo.pop();
    if (!step) return null;
    const visit = find(step.field);
    visit.said = JSON.parse(step.before);
    if (visit.id === null) visit.id = newId();
    book.save();
    return step.field;
  };

  book.setWho = (name) => {
    book.state.who = name;
    book.save();
  };

  // "nothing", "new" (never sent), "changed" since it was sent, or "sent".
  book.standing = (field) => {
    const visit = find(field);
    if (!visit) return 'nothing';
    const last = visit.sent[visit.sent.length - 1];
    if (!last) return hasContent(visit.said) ? 'new' : 'nothing';
    return last.said === versionOf(book, visit) ? 'sent' : 'changed';
  };

  // The table for the log; from now on what it says of each visit is frozen.
  book.send = () => {
    const rows = [];
    for (const visit of book.state.visits) {
      if (['new', 'changed'].includes(book.standing(visit.field))) {
        const last = visit.sent[visit.sent.length - 1];
        visit.sent.push({
          id: visit.id || newId(), corrects: last ? last.id : '', said: versionOf(book, visit),
        });
        visit.id = null;
      }
      for (const version of visit.sent) {
        const cells = { visit_id: version.id, kind: 'visit', corrects: version.corrects };
        for (const row of JSON.parse(version.said)) rows.push({ ...row, ...cells });
      }
    }
    book.save();
    return tableText(rows, data.rules.columns);
  };

  book.read();
  return book;
}

function versionOf(book, visit) {
  return JSON.stringify(visitRows(visit.said, {
    field_id: visit.field, date: book.data.day, who: book.state.who.trim(),
  }));
}

function countedSetsOf(said) {
  return said.sets.filter((set) => set.counts.length);
}

// Whether a visit says anything that is worth logging.
function hasContent(said) {
  return Boolean(said.stage || said.stand.trim() || said.notes.trim()
    || said.defoliation !== null || countedSetsOf(said).length);
}
