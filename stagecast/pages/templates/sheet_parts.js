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

// The growth stage: what each is, one to choose, and how many plants are in it.
function stagePart(book, stop, refresh) {
  const said = book.visit(stop.field_id);
  const share = numberBox(
    'share', 'Percent of plants in that stage or beyond', said.share, [1, 100], {
      put: (value) => {
        book.change(stop.field_id, 'percent of plants', (visit) => {
          visit.share = value;
        }, 'share');
        refresh();
      },
    },
  );
  const put = (stage) => {
    if (!stage) share.show(null);
    book.change(stop.field_id, `stage ${stage || 'not noted'}`, (visit) => {
      visit.stage = stage;
      if (!stage) visit.share = null;
    });
    refresh();
  };
  const nodes = Math.max(2, Number((/^V([0-9]+)$/.exec(said.stage) || [])[1]) || 2);
  const count = make('select', {
    id: 'stage-nodes', 'aria-label': 'How many nodes',
    on: {
      change: () => {
        document.getElementById('stage-Vn').checked = true;
        put(`V${count.value}`);
      },
    },
  }, ...Array.from({ length: 24 }, (_, i) => make('option', {
    value: String(i + 2), text: `V${i + 2}`, selected: nodes === i + 2,
  })));
  const isNth = /^V([2-9]|[0-9]{2})$/.test(said.stage);
  const choice = (code, name, definition) => {
    const chosen = code === 'Vn' ? isNth : said.stage === code;
    return make('div', { class: 'choice' },
      make('input', {
        type: 'radio', name: 'stage', id: `stage-${code}`, checked: chosen,
        on: { change: () => put(code === 'Vn' ? `V${count.value}` : code) },
      }),
      make('label', { for: `stage-${code}` },
        make('b', { text: code || 'not noted' }), name ? ` ${name}` : '',
        definition ? make('span', { class: 'small', text: definition }) : ''),
      code === 'Vn' ? count : null);
  };
  return make('details', { id: 'stage-part' },
    make('summary', { id: 'stage-said' }),
    make('fieldset', {},
      make('legend', { text: 'A field is in a stage when half of its plants are in it or beyond.' }),
      make('p', { class: 'small', text: book.data.stages_note }),
      choice('', '', ''),
      ...book.data.rules.stages.map((one) => choice(one.code, one.name, one.definition))),
    share);
}

function stageSaid(book, stop) {
  const said = book.visit(stop.field_id);
  const { rules } = book.data;
  const { stage, seen } = stageOf(said, stop, rules);
  const nth = /^V[2-9]|^V[0-9]{2}/.test(stage) ? 'Vn' : stage;
  const known = rules.stages.find((one) => one.code === nth);
  const name = known && nth !== 'Vn' ? `, ${known.name}` : '';
  if (seen) {
    const share = said.stage && said.share !== null ? `, ${said.share} percent of plants` : '';
    return `Growth stage: ${stage}${name}${share}`;
  }
  if (!said.stage) return `Growth stage: not noted (forecast: ${stage}${name})`;
  return `Growth stage: ${said.stage} in ${said.share} percent of plants, so still ${stage}${name}`;
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

// What is noted once at a stop, below the counts.
function notesPart(book, stop, refresh) {
  const said = book.visit(stop.field_id);
  const put = (name, what) => (value) => {
    book.change(stop.field_id, what, (visit) => {
      visit[name] = value;
    }, name);
    refresh();
  };
  return make('div', {},
    make('h3', { text: 'Leaf loss' }),
    numberBox('defoliation', 'Percent of the whole canopy; blank where not judged',
      said.defoliation, [0, 100], { put: put('defoliation', 'leaf loss') }),
    make('div', { id: 'leaf-answer' }),
    make('h3', { text: 'Notes' }),
    wordsBox('stand', 'On the stand, in words', said.stand, put('stand', 'words on the stand'), { lines: 2 }),
    wordsBox('notes', 'Anything else', said.notes, put('notes', 'notes'), { lines: 3 }),
    wordsBox('method', 'How you sampled', said.method, put('method', 'how you sampled')));
}
