// Handing the table on: every day of which something was not sent, frozen before it is shown.

// `refresh` is called after every step; `byId` finds an element.
function openSend(book, storage, { byId, refresh }) {
  const { data } = book;
  let shown = [];  // what the text box holds: books, and the ids in it

  function fileName() {
    const who = book.state.who.normalize('NFKD').replace(/[^A-Za-z0-9]+/g, '-');
    return `stagecast-${data.day}${who ? `-${who.slice(0, 40)}` : ''}.csv`;
  }

  // Every day that goes out now: this one, and others with something unsent.
  function going() {
    const others = otherBooks(data, storage).filter((other) => other.unsent().length);
    return [book, ...others];
  }

  function frozen() {
    const days = going().map((one) => ({ one, ...one.freeze() }));
    const rows = days.flatMap((day) => day.rows);
    return { days, text: tableText(rows, data.rules.columns) };
  }

  function mark(days, how) {
    days.forEach(({ one, ids }) => one.mark(ids, how));
  }

  function said(text) {
    refresh();
    const lost = ' The phone could not store that it was sent. Leave this page open until the '
      + 'day is over: what is counted after closing it would be logged as a second visit.';
    byId('send-said').textContent = text + (book.kept ? '' : lost);
  }

  function asFile() {
    const { days, text } = frozen();
    const url = URL.createObjectURL(new Blob([text], { type: 'text/csv' }));
    make('a', { href: url, download: fileName() }).click();
    setTimeout(() => URL.revokeObjectURL(url), 60000);
    mark(days, 'sent');
    said(`Saved as ${fileName()}.`);
  }

  async function asShare() {
    const { days, text } = frozen();
    const file = new File([text], fileName(), { type: 'text/csv' });
    const whole = navigator.canShare && navigator.canShare({ files: [file] });
    try {
      await navigator.share(whole ? { files: [file] } : { title: fileName(), text });
      mark(days, 'sent');
      said('Handed on.');
    } catch {
      said('It was not handed on, and counts as not sent. Try again, or save it as a file.');
    }
  }

  function asText() {
    const box = byId('send-box');
    const { days, text } = frozen();
    shown = days;
    mark(days, 'shown');
    box.value = text;
    byId('send-shown').hidden = false;
    said('The table stands below as text. It counts as sent once you copied it, or say so.');
    box.focus();
    box.select();
  }

  async function copy() {
    const box = byId('send-box');
    box.select();
    let copied = false;
    try {
      await navigator.clipboard.writeText(box.value);
      copied = true;
    } catch {
      copied = document.execCommand('copy');
    }
    if (copied) mark(shown, 'sent');
    said(copied ? 'Copied. Paste it where it shall go.' : 'Copy the marked text yourself.');
  }

  function confirm() {
    mark(shown, 'sent');
    said('Marked as sent.');
  }

  // A sheet that was opened from the desk: the table goes into a form of the desk, in a page of its
  // own, so that this one stays. It counts as sent once the desk says that it has logged it.
  function asDesk() {
    const { days, text } = frozen();
    shown = days;
    mark(days, 'shown');
    byId('send-desk-name').value = fileName();
    byId('send-desk-table').value = text;
    said('The desk shows the table in another page. Log it there; then it counts as sent.');
  }

  function logged(ids) {
    const has = new Set(ids);
    [book, ...otherBooks(data, storage)].forEach((one) => one.mark(has, 'sent'));
    said('The desk has logged it.');
  }

  if (byId('send-desk')) {
    byId('send-desk').addEventListener('submit', asDesk);
    if (window.BroadcastChannel) {
      const desk = new BroadcastChannel('stagecast log');
      desk.addEventListener('message', (event) => logged(event.data));
    }
  }

  const acts = {
    'send-file': asFile, 'send-share': asShare, 'send-text': asText, 'send-copy': copy,
    'send-confirm': confirm,
  };
  Object.entries(acts).forEach(([id, act]) => byId(id).addEventListener('click', act));
}
