// Small parts of the page: elements, boxes to type in, and what is noted once at a stop. Text is
// only ever set as text, so nothing that was typed or named can become part of the page.

function make(tag, given = {}, ...children) {
  const { on = {}, text, ...attributes } = given;
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (value === true) made.setAttribute(name, '');
    else if (value !== false && value !== null) made.setAttribute(name, value);
  }
  if (text !== undefined) made.textContent = text;
  for (const [name, listener] of Object.entries(on)) made.addEventListener(name, listener);
  made.append(...children.filter((child) => child !== null));
  return made;
}

function button(text, act, given = {}) {
  return make('button', { type: 'button', text, on: { click: act }, ...given });
}

// Read a number that was typed: null for nothing, undefined for what is none within its limits.
// A comma is only taken where it cannot stand between thousands.
function typedNumber(text, [least, most], whole) {
  const typed = text.trim();
  if (!typed) return null;
  if (!(whole ? /^\d+$/ : /^(\d+|\d*[.,]\d{1,2})$/).test(typed)) return undefined;
  const value = Number(typed.replace(',', '.'));
  return value < least || value > most ? undefined : value;
}

function grouped(number) {
  return number.toLocaleString('en-US');
}

function numberWords(value) {
  return value === null ? '' : String(value);
}

// A box for a number. While what stands in it cannot be, what stood there before the typing holds;
// on leaving the box that is shown again. `show` puts another number into it, and `doubt` returns
// what to ask of a number that can hardly be.
function numberBox(id, label, value, limits, { whole = false, hidden = false, put, doubt }) {
  const told = make('span', { id: `${id}-wrong`, class: 'wrong', role: 'status' });
  const kind = whole ? 'a whole number' : 'a number';
  const range = `${kind} from ${limits.map(grouped).join(' to ')}, without marks between thousands`;
  let now = value;
  let before = value;
  const isWrong = () => box.getAttribute('aria-invalid') === 'true';
  const box = make('input', {
    id, type: 'text', inputmode: whole ? 'numeric' : 'decimal', autocomplete: 'off',
    'aria-describedby': `${id}-wrong`,
    on: {
      focus: () => {
        before = now;
      },
      input: () => {
        const found = typedNumber(box.value, limits, whole);
        box.setAttribute('aria-invalid', String(found === undefined));
        now = found === undefined ? before : found;
        told.textContent = found === undefined ? `Not taken: ${range}.` : '';
        put(now);
      },
      blur: () => {
        if (!isWrong()) {
          told.textContent = (doubt && now !== null && doubt(now)) || '';
          return;
        }
        told.textContent = `${box.value.slice(0, 20)} was not taken (${range}); `
          + `${now === null ? 'nothing' : grouped(now)} stands.`;
        box.value = numberWords(now);
        box.setAttribute('aria-invalid', 'false');
      },
    },
  });
  const part = make('div', { class: 'box' },
    make('label', { for: id, class: hidden ? 'hidden' : null, text: label }), box, told);
  part.show = (other) => {
    now = other;
    before = other;
    box.value = numberWords(other);
    box.setAttribute('aria-invalid', 'false');
    told.textContent = '';
  };
  box.value = numberWords(value);
  return part;
}

// A box for words; `put` gets them as the log takes them.
function wordsBox(id, label, value, put, { lines = 1 } = {}) {
  const box = make(lines > 1 ? 'textarea' : 'input', {
    id, maxlength: '20000', autocomplete: 'off', dir: 'auto', rows: lines > 1 ? lines : null,
    on: {
      input: () => {
        const plain = plainText(box.value);
        if (plain !== box.value) box.value = plain;
        put(plain);
      },
    },
  });
  box.value = value;
  return make('div', { class: 'box' }, make('label', { for: id, text: label }), box);
}

// When one came to the field and left it: noted by the taps, and to be corrected here.
function timesPart(book, stop, refresh) {
  const box = (name, label) => make('div', { class: 'box' },
    make('label', { for: name, text: label }),
    make('input', {
      id: name, type: 'time', on: {
        input: (event) => {
          book.change(stop.field_id, label.toLowerCase(), (visit) => {
            visit[name] = event.target.value;
          }, name);
          refresh();
        },
      },
    }));
  return make('div', {},
    make('h3', { text: 'Time at the field' }),
    make('p', { class: 'small', text: 'From your first tap to the last set done; correct it where '
      + 'you tapped later. From one field to the next the route learns how long your visits take.' }),
    box('arrived', 'Came'), box('left', 'Left'),
    make('p', { id: 'times-wrong', class: 'wrong', role: 'status' }));
}

function showTimes(said, byId) {
  for (const name of ['arrived', 'left']) {
    if (document.activeElement !== byId(name)) byId(name).value = said[name] || '';
  }
  const wrong = said.arrived && said.left && said.left < said.arrived;
  byId('times-wrong').textContent = wrong ? 'Left before you came: this end is not sent.' : '';
}

// Leaf loss in percent: a button for each of some shares, and a box for any other. `id` names it.
const LEAF_SHARES = [0, 5, 10, 15, 20, 25, 30, 40, 50, 75];

function shareButtons(label, name, value, put) {
  return make('div', { class: 'shares', role: 'group', 'aria-label': label },
    ...LEAF_SHARES.map((share) => button(`${share}%`, () => put(share), {
      id: `${name}-${share}`, 'aria-pressed': String(share === value),
    })));
}

function showShare(place, value) {
  place.querySelectorAll('.shares button').forEach((one) => {
    one.setAttribute('aria-pressed', String(one.textContent === `${value}%`));
  });
}

// What is noted once at a stop, below the counts. Leaf loss that is judged place by place has a
// form of its own.
function notesPart(book, stop, refresh) {
  const field = stop.field_id;
  const said = book.visit(field);
  const put = (name, what) => (value) => {
    book.change(field, what, (visit) => {
      visit[name] = value;
    }, name);
    refresh();
  };
  const typed = numberBox('defoliation', 'Percent of the whole canopy; blank where not judged',
    said.defoliation, [0, 100], {
      put: (value) => {
        book.change(field, 'leaf loss', (visit) => {
          visit.defoliation = value;
          visit.leaves = [];
        }, 'defoliation');
        showShare(leaves, value);
        refresh();
      },
    });
  const tapped = (share) => {
    book.change(field, `leaf loss ${share} percent`, (visit) => {
      visit.defoliation = share;
      visit.leaves = [];
    });
    typed.show(share);
    showShare(leaves, share);
    refresh();
  };
  const leaves = make('div', {},
    shareButtons('Leaf loss of the whole canopy', 'leaves', said.defoliation, tapped), typed);
  return make('div', {},
    stop.form === LEAVES ? null : make('h3', { text: 'Leaf loss' }),
    stop.form === LEAVES ? null : leaves,
    make('div', { id: 'leaf-answer' }),
    make('h3', { text: 'Notes' }),
    wordsBox('stand', 'On the stand, in words', said.stand, put('stand', 'words on the stand'), { lines: 2 }),
    wordsBox('notes', 'Anything else', said.notes, put('notes', 'notes'), { lines: 3 }),
    wordsBox('method', 'How you sampled', said.method, put('method', 'how you sampled')));
}
