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
function typedNumber(text, [least, most], whole) {
  if (!text.trim()) return null;
  const value = Number(text.trim().replace(',', '.'));
  if (!Number.isFinite(value) || value < least || value > most) return undefined;
  return whole && !Number.isInteger(value) ? undefined : value;
}

function grouped(number) {
  return number.toLocaleString('en-US');
}

// A box for a number. What cannot be is marked and said, and what stood before stays.
function numberBox(id, label, value, limits, { whole = false, hidden = false, put }) {
  const told = make('span', { id: `${id}-wrong`, class: 'wrong', role: 'status' });
  const box = make('input', {
    id, type: 'text', inputmode: whole ? 'numeric' : 'decimal', autocomplete: 'off',
    'aria-describedby': `${id}-wrong`,
    on: {
      input: () => {
        const found = typedNumber(box.value, limits, whole);
        box.setAttribute('aria-invalid', String(found === undefined));
        const kind = whole ? 'a whole number' : 'a number';
        told.textContent = found === undefined
          ? `Not taken: ${kind} from ${limits.map(grouped).join(' to ')} goes here.` : '';
        if (found !== undefined) put(found);
      },
    },
  });
  box.value = value === null ? '' : String(value);
  return make('div', { class: 'box' },
    make('label', { for: id, class: hidden ? 'hidden' : null, text: label }), box, told);
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
  const put = (stage) => {
    book.change(stop.field_id, null, (visit) => {
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
    numberBox('share', 'Percent of plants in that stage or beyond', said.share, [1, 100], {
      put: (value) => {
        book.change(stop.field_id, 'share', (visit) => {
          visit.share = value;
        });
        refresh();
      },
    }));
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

// What is noted once at a stop, below the counts.
function notesPart(book, stop, refresh) {
  const said = book.visit(stop.field_id);
  const put = (name) => (value) => {
    book.change(stop.field_id, name, (visit) => {
      visit[name] = value;
    });
    refresh();
  };
  return make('div', {},
    make('h3', { text: 'Leaf loss' }),
    numberBox('defoliation', 'Percent of the whole canopy; blank where not judged',
      said.defoliation, [0, 100], { put: put('defoliation') }),
    make('div', { id: 'leaf-answer' }),
    make('h3', { text: 'Notes' }),
    wordsBox('stand', 'On the stand', said.stand, put('stand'), { lines: 2 }),
    wordsBox('notes', 'Anything else', said.notes, put('notes'), { lines: 3 }),
    wordsBox('method', 'How you sampled', said.method, put('method')));
}
