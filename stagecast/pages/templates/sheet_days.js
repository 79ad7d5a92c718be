// Earlier days on the phone, and texts that cannot be read: each is said on every sheet, and goes
// only when a person says so.

function openDays(book, storage, tab, { byId, say, refresh }) {
  const { data } = book;

  function fieldsWords(number) {
    return `${number} ${number === 1 ? 'field' : 'fields'} not sent`;
  }

  function sentDays() {
    return otherBooks(data, storage).filter((other) => !other.unsent().length);
  }

  function draw() {
    const others = otherBooks(data, storage);
    const waiting = others.filter((other) => other.unsent().length);
    byId('days').hidden = !waiting.length;
    byId('days-list').replaceChildren(...waiting.map((other) => make('li', {
      text: `${other.data.day_text}${other.state.who ? `, ${other.state.who}` : ''}: `
        + fieldsWords(other.unsent().length),
    })));
    const days = others.length - waiting.length;
    byId('forget').hidden = !days;
    byId('forget').textContent = `Remove ${days === 1 ? '1 earlier day' : `${days} earlier days`} `
      + 'from this phone: all of it was sent';
    drawTrouble();
    return waiting.length;
  }

  function drawTrouble() {
    const unread = unreadTexts(storage, data.rules);
    byId('trouble').hidden = !unread.length;
    byId('trouble-said').textContent = unread.length
      ? 'This phone has kept something of a day that cannot be read. It was put aside.' : '';
    if (!unread.length) byId('trouble-shown').hidden = true;
    return unread;
  }

  function show() {
    byId('trouble-box').value = drawTrouble().map(({ key, text }) => `${key}\n${text}`).join('\n\n');
    byId('trouble-shown').hidden = false;
    byId('trouble-box').focus();
    byId('trouble-box').select();
  }

  async function copy() {
    byId('trouble-box').select();
    try {
      await navigator.clipboard.writeText(byId('trouble-box').value);
      say('Copied.');
    } catch {
      say(document.execCommand('copy') ? 'Copied.' : 'Copy the marked text yourself.');
    }
  }

  function remove(keys, then) {
    keys.forEach((key) => storage.removeItem(key));
    if (tab) keys.forEach((key) => tab.removeItem(key));
    say('Removed.');
    then();
  }

  byId('forget').addEventListener('click', () => {
    remove(sentDays().map((other) => other.data.key), refresh);
  });
  byId('trouble-show').addEventListener('click', show);
  byId('trouble-copy').addEventListener('click', copy);
  byId('trouble-drop').addEventListener('click', () => {
    const keys = unreadTexts(storage, data.rules).map(({ key }) => key);
    remove(keys.filter((key) => key !== data.key), refresh);
  });
  return { draw };
}
