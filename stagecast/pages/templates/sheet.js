// The field sheet: a list of stops, one stop at a time, and what is sent at the end of the day.

(() => {
  const data = JSON.parse(document.getElementById('data').textContent);
  const byId = (id) => document.getElementById(id);
  const storage = usable('localStorage');
  const tab = usable('sessionStorage');
  const book = openBook(data, storage, tab);
  book.asked = new Set();
  book.forms = new Map();  // the form that was asked for last, by field
  book.placeAt = new Map();  // at which place of a stand or of leaf loss one is
  book.beyond = new Set();  // fields in which one more set than planned was asked for
  book.doneAt = 0;
  let bar = null;
  let open = null;
  let stale = false;  // another window changed this stop while somebody typed here

  const say = (text, shown = false) => {
    byId('spoken').textContent = text;
    byId('spoken').classList.toggle('hidden', !shown);
  };

  const STANDINGS = {
    nothing: 'not begun', new: 'not sent yet', changed: 'changed since it was sent',
    shown: 'shown as text, not sent yet', sent: 'sent',
  };

  function lacksStage(said) {
    return !said.stage && hasContent(said);
  }

  function standingText(field) {
    const said = book.visit(field);
    const sets = countedSetsOf(said).length;
    const told = [sets ? countedSets(sets) : '', STANDINGS[book.standing(field)],
      lacksStage(said) ? 'no growth stage noted' : ''];
    return told.filter(Boolean).join(', ');
  }

  // What shows everywhere: how it is kept, and what can be taken back.
  function refreshBar() {
    const lost = 'This phone keeps nothing more for this page. Do not close it before you have '
      + 'sent what you counted.';
    byId('unkept').hidden = book.kept;
    byId('unkept').textContent = book.kept ? '' : lost;
    const step = book.undoText();
    byId('undo').disabled = !step;
    byId('undo-what').textContent = step && `: ${step}`;
  }

  function refreshStop() {
    const stop = data.stops[open];
    byId('stage-said').textContent = stageSaid(book, stop);
    showTimes(book.visit(stop.field_id), byId);
    drawAnswers(book, stop, byId('answers'), byId('leaf-answer'), byId('bar-answer'));
    bar.update();
    refreshBar();
  }

  function formPart(stop, parts) {
    const form = formAt(book, stop);
    if (form === STAND) return standPart(book, stop, parts);
    return form === LEAVES ? leavesPart(book, stop, parts) : setsPart(book, stop, parts);
  }

  // Draw the counting part of the stop at hand anew, and go on where the finger was.
  function drawStop(focus) {
    const stop = data.stops[open];
    const panel = byId(`panel-${stop.number}`);
    const parts = { refresh: refreshStop, redraw: drawStop, say };
    const picking = byId('stage-part') && !byId('stage-part').hidden;
    stale = false;
    book.foreign.delete(stop.field_id);
    bar = barPart(book, stop, parts);
    panel.replaceChildren(
      stagePart(book, stop, parts),
      formsPart(book, stop, parts),
      formPart(stop, parts),
      make('section', { id: 'answers', 'aria-labelledby': 'said-title' }),
      notesPart(book, stop, refreshStop),
      timesPart(book, stop, refreshStop));
    byId('bar-set').replaceChildren(...bar.nodes);
    if (picking) byId('stage-other').click();
    refreshStop();
    const target = focus && byId(focus);
    if (target) target.focus({ preventScroll: true });
  }

  function drawList() {
    for (const stop of data.stops) {
      byId(`standing-${stop.number}`).textContent = standingText(stop.field_id);
      const due = byId(`due-${stop.number}`);  // what is walked is late no more
      if (due) due.hidden = book.standing(stop.field_id) !== 'nothing';
    }
  }

  function drawSend() {
    const others = book.state.visits.filter((visit) => !book.stops.has(visit.field));
    const shown = [...data.stops.map((stop) => [stop.field_id, stop.label]),
      ...others.map((visit) => [visit.field, `${visit.label} (no longer on this sheet)`])];
    const lines = shown.filter(([field]) => book.standing(field) !== 'nothing')
      .map(([field, label]) => make('li', {}, make('b', { dir: 'auto', text: label }),
        `: ${standingText(field)}`, openSet(field) ? '; its last set is not marked as done' : ''));
    const waiting = days.draw();
    const nothing = !lines.length && !waiting;
    byId('send-list').replaceChildren(...lines);
    byId('send-none').hidden = !nothing;
    byId('send-who').textContent = book.state.who.trim()
      ? `Looked: ${book.state.who.trim()}.` : 'Nobody is named as who looked: see Stops.';
    for (const name of ['send-file', 'send-text', 'send-share']) byId(name).disabled = nothing;
    byId('send-share').hidden = !navigator.share;
    const away = others.map((visit) => make('li', {}, make('b', { text: visit.label }),
      `: ${standingText(visit.field)}`));
    byId('elsewhere').hidden = !others.length;
    byId('elsewhere-list').replaceChildren(...away);
  }

  function refreshAll() {
    drawSend();
    drawList();
    refreshBar();
  }

  function openSet(field) {
    return book.visit(field).sets.some((set) => set.open && set.counts.length);
  }

  // One of the browser's two places to keep text, or null where it refuses.
  function usable(name) {
    try {
      const found = window[name];
      found.setItem('stagecast test', '1');
      found.removeItem('stagecast test');
      return found;
    } catch {
      return null;
    }
  }

  // Which part is seen follows the address, so that the phone's own way back works.
  function show() {
    const name = window.location.hash.slice(1);
    const at = data.stops.findIndex((stop) => `stop-${stop.number}` === name);
    open = at < 0 ? null : at;
    byId('list').hidden = open !== null || name === 'send';
    byId('send').hidden = name !== 'send';
    for (const stop of data.stops) {
      byId(`stop-${stop.number}`).hidden = stop !== data.stops[open];
      byId(`panel-${stop.number}`).replaceChildren();
    }
    byId('bar-set').replaceChildren();
    byId('bar-answer').hidden = true;
    document.body.classList.toggle('at-stop', open !== null);
    say('');
    if (open !== null) drawStop();
    refreshAll();
  }

  function undo() {
    const what = book.undoText();
    const field = book.undo();
    const stop = book.stops.get(field);
    say(`Took back: ${what}`);
    if (stop && data.stops[open] !== stop) window.location.hash = `stop-${stop.number}`;
    else if (open !== null) drawStop();
    refreshAll();
    byId('undo').focus();
  }

  // Another window of the same sheet wrote: go on from there, and draw only what it changed.
  function follow() {
    book.sync();
    fields.follow();
    if (document.activeElement !== byId('who')) byId('who').value = book.state.who;
    refreshAll();
    const stop = data.stops[open];
    if (!stop || !book.foreign.has(stop.field_id)) return;
    stale = isTyping();
    if (!stale) drawStop();
  }

  function isTyping() {
    const { activeElement: at } = document;
    return Boolean(at && at.closest('.stop') && at.matches('input, textarea, select'));
  }

  // --- beginning -------------------------------------------------------------------------------

  const fields = openFields(book, {
    byId,
    opened: (stop) => {
      window.location.hash = `stop-${stop.number}`;
    },
  });
  const days = openDays(book, storage, tab, { byId, say, refresh: refreshAll });
  openSend(book, storage, { byId, refresh: refreshAll });
  const looks = [...document.querySelectorAll('.look')];
  looks.forEach((look) => {
    look.open = false;
  });
  window.addEventListener('beforeprint', () => looks.forEach((look) => {
    look.open = true;
  }));
  byId('undo').addEventListener('click', undo);
  byId('who').value = book.state.who;
  byId('who').addEventListener('input', () => {
    book.setWho(plainText(byId('who').value));
    refreshAll();
  });
  document.addEventListener('focusout', () => setTimeout(() => {
    if (stale && open !== null && !isTyping()) drawStop();
  }));
  window.addEventListener('hashchange', () => {
    show();
    window.scrollTo(0, 0);
    if (open !== null) byId(`title-${data.stops[open].number}`).focus({ preventScroll: true });
  });
  // Every tap is written at once; what could not be is tried again before the page goes.
  for (const event of ['pagehide', 'visibilitychange']) {
    document.addEventListener(event, () => book.keep());
    window.addEventListener(event, () => book.keep());
  }
  window.addEventListener('beforeunload', (event) => {
    if (!book.kept && book.unsent().length) event.preventDefault();
  });
  window.addEventListener('storage', (event) => {
    if (event.key === data.key) follow();
    else days.draw();
  });
  byId('other-day').hidden = Boolean(clockOn(data.day));
  byId('bar').hidden = false;
  show();
})();
