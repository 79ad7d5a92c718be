// The field sheet: a list of stops, one stop at a time, and what is sent at the end of the day.

(() => {
  const data = JSON.parse(document.getElementById('data').textContent);
  const byId = (id) => document.getElementById(id);
  let storage = null;
  try {
    storage = window.localStorage;
    storage.setItem('stagecast test', '1');
    storage.removeItem('stagecast test');
  } catch {
    storage = null;
  }
  const book = openBook(data, storage);
  let open = null;

  const say = (text) => {
    byId('spoken').textContent = text;
  };

  const STANDINGS = {
    nothing: 'not begun', new: 'not sent yet', changed: 'changed since it was sent', sent: 'sent',
  };

  function standingText(field) {
    const sets = countedSetsOf(book.visit(field)).length;
    const standing = STANDINGS[book.standing(field)];
    return sets ? `${countedSets(sets)}, ${standing}` : standing;
  }

  // What shows everywhere: how it is kept, and what can be taken back.
  function refreshBar() {
    const lost = 'This phone keeps nothing for this page. Do not close it before you have sent '
      + 'what you counted.';
    byId('unkept').hidden = book.kept;
    byId('unkept').textContent = book.kept ? '' : lost;
    byId('trouble').hidden = !book.trouble;
    byId('trouble').textContent = book.trouble;
    byId('undo').disabled = !book.state.undo.length;
  }

  function refreshStop() {
    const stop = data.stops[open];
    byId('stage-said').textContent = stageSaid(book, stop);
    drawAnswers(book, stop, byId('answers'), byId('leaf-answer'));
    refreshBar();
  }

  // Draw the counting part of the stop at hand anew, and go on where the finger was.
  function drawStop(focus) {
    const stop = data.stops[open];
    const panel = byId(`panel-${stop.number}`);
    const parts = { refresh: refreshStop, redraw: drawStop, say };
    const shown = (byId('stage-part') || {}).open;
    panel.replaceChildren(
      stagePart(book, stop, refreshStop),
      setsPart(book, stop, parts),
      make('section', { id: 'answers', 'aria-labelledby': 'said-title' }),
      notesPart(book, stop, refreshStop));
    byId('stage-part').open = Boolean(shown);
    refreshStop();
    const target = focus && byId(focus);
    if (target) {
      target.focus({ preventScroll: focus === 'set-rest' });
      if (focus.endsWith('title')) target.scrollIntoView({ block: 'start' });
    }
  }

  function drawList() {
    for (const stop of data.stops) {
      byId(`standing-${stop.number}`).textContent = standingText(stop.field_id);
    }
  }

  function drawSend() {
    const others = book.state.visits.filter((visit) => !book.stops.has(visit.field));
    const shown = [...data.stops.map((stop) => [stop.field_id, stop.label]),
      ...others.map((visit) => [visit.field, `${visit.label} (no longer on this sheet)`])];
    const lines = shown.filter(([field]) => book.standing(field) !== 'nothing')
      .map(([field, label]) => make('li', {}, make('b', { dir: 'auto', text: label }),
        `: ${standingText(field)}`, openSet(field) ? '; its last set is not marked as done' : ''));
    byId('send-list').replaceChildren(...lines);
    byId('send-none').hidden = lines.length > 0;
    for (const name of ['send-file', 'send-text']) byId(name).disabled = !lines.length;
    byId('send-share').disabled = !lines.length;
    byId('send-share').hidden = !navigator.share;
    const away = others.map((visit) => make('li', {}, make('b', { text: visit.label }),
      `: ${standingText(visit.field)}`));
    drawDays();
    byId('elsewhere').hidden = !others.length;
    byId('elsewhere-list').replaceChildren(...away);
  }

  // Earlier days take room on the phone; those that were sent whole may go.
  function drawDays() {
    const days = storage ? sentDays(storage, data.key) : [];
    const many = days.length === 1 ? '1 earlier day' : `${days.length} earlier days`;
    byId('forget').hidden = !days.length;
    byId('forget').textContent = `Remove ${many} from this phone: all of it was sent`;
  }

  function forget() {
    sentDays(storage, data.key).forEach(({ key }) => storage.removeItem(key));
    drawDays();
    say('Removed.');
  }

  function openSet(field) {
    const { sets } = book.visit(field);
    return Boolean(sets[sets.length - 1].counts.length);
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
    if (open !== null) {
      const { number, field_id: field } = data.stops[open];
      byId(`look-${number}`).open = book.standing(field) === 'nothing';
      drawStop();
    }
    drawList();
    drawSend();
    refreshBar();
  }

  function go(name) {
    window.location.hash = name;
  }

  function undo() {
    const field = book.undo();
    const stop = book.stops.get(field);
    say(stop ? `Took back the last step at ${stop.label}` : 'Took back the last step');
    if (stop && data.stops[open] !== stop) go(`stop-${stop.number}`);
    else if (open !== null) drawStop();
    drawList();
    drawSend();
    refreshBar();
    byId('undo').focus();
  }

  // --- sending ---------------------------------------------------------------------------------

  function fileName() {
    const who = book.state.who.normalize('NFKD').replace(/[^A-Za-z0-9]+/g, '-');
    return `stagecast-${data.day}${who ? `-${who.slice(0, 40)}` : ''}.csv`;
  }

  function sent(how) {
    drawSend();
    drawList();
    refreshBar();
    byId('send-said').textContent = how;
  }

  function asFile() {
    const text = book.send();
    const url = URL.createObjectURL(new Blob([text], { type: 'text/csv' }));
    const link = make('a', { href: url, download: fileName() });
    link.click();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
    sent(`Saved as ${fileName()}.`);
  }

  async function asShare() {
    const text = book.send();
    const file = new File([text], fileName(), { type: 'text/csv' });
    const whole = navigator.canShare && navigator.canShare({ files: [file] });
    try {
      await navigator.share(whole ? { files: [file] } : { title: fileName(), text });
      sent('Handed on.');
    } catch {
      sent('It was not handed on. It can be handed on again, or saved as a file.');
    }
  }

  function asText() {
    const box = byId('send-box');
    box.value = book.send();
    byId('send-shown').hidden = false;
    sent('The table stands below as text: copy all of it, or send it as it is.');
    box.focus();
    box.select();
  }

  async function copy() {
    const box = byId('send-box');
    box.select();
    try {
      await navigator.clipboard.writeText(box.value);
      sent('Copied.');
    } catch {
      sent(document.execCommand('copy') ? 'Copied.' : 'Copy the marked text yourself.');
    }
  }

  // --- beginning -------------------------------------------------------------------------------

  for (const { number } of data.stops) {
    byId(`jump-${number}`).hidden = false;
    byId(`jump-${number}`).addEventListener('click', () => drawStop('set-title'));
  }
  byId('undo').addEventListener('click', undo);
  byId('send-file').addEventListener('click', asFile);
  byId('send-share').addEventListener('click', asShare);
  byId('send-text').addEventListener('click', asText);
  byId('send-copy').addEventListener('click', copy);
  byId('forget').addEventListener('click', forget);
  byId('who').value = book.state.who;
  byId('who').addEventListener('input', () => {
    book.setWho(plainText(byId('who').value));
    drawSend();
    drawList();
    refreshBar();
  });
  window.addEventListener('hashchange', () => {
    show();
    window.scrollTo(0, 0);
  });
  window.addEventListener('beforeunload', (event) => {
    if (!book.kept && book.unsent()) event.preventDefault();
  });
  // Another window of the same sheet wrote something: go on from there.
  window.addEventListener('storage', (event) => {
    if (event.key === data.key) {
      book.read();
      show();
    } else {
      drawDays();
    }
  });
  const now = new Date();
  const two = (number) => String(number).padStart(2, '0');
  const today = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
  byId('other-day').hidden = today === data.day;
  byId('bar').hidden = false;
  show();
})();
