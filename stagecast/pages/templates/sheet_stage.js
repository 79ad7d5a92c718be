// The growth stage: one tap on the stages round that of the forecast, or any other behind "other".

const ROUND_ABOUT = 2;
const R6_LATE = 'R6.5';  // never noted: the forecast says from which day it parts R6

// The stages that one may well see: two on either side of the forecast. V nodes are counted on to
// the one after the forecast's; where the beans bloom nobody knows how many nodes they have had.
function stagesAround(around, rules) {
  const nodes = Number((/^V([0-9]+)$/.exec(around) || [])[1]) || 0;
  const blooms = around.startsWith('R');
  const before = blooms ? [] : ['VE', 'VC', ...Array.from({ length: nodes + 1 }, (_, i) => `V${i + 1}`)];
  const after = rules.order.filter((stage) => stage.startsWith('R') && stage !== R6_LATE);
  const stages = [...before, ...after];
  const at = Math.max(0, stages.indexOf(around));
  return stages.slice(Math.max(0, at - ROUND_ABOUT), at + ROUND_ABOUT + 1);
}

// Its name, such as "beginning seed"; "" for V nodes.
function stageName(stage, rules) {
  const known = rules.stages.find((one) => one.code === stage);
  return known && !/^V[2-9]/.test(stage) ? `, ${known.name}` : '';
}

function stageSaid(book, stop) {
  const said = book.visit(stop.field_id);
  const { rules } = book.data;
  const { stage, seen } = stageOf(said, stop, rules);
  if (seen) {
    const share = said.stage && said.share !== null ? `, ${said.share} percent of plants` : '';
    return `Growth stage ${stage}${stageName(stage, rules)}${share}`;
  }
  if (said.stage) {
    return `${said.stage} in ${said.share} percent of plants, so still ${stage}`;
  }
  return `Growth stage? Forecast ${stop.around}${stageName(stop.around, rules)}`;
}

function stagePart(book, stop, { refresh, redraw }) {
  const field = stop.field_id;
  const { rules } = book.data;
  const rows = () => JSON.stringify(countedHere(book, stop));
  const put = (stage, focus) => {
    const before = rows();
    if (!stage) share.show(null);
    book.change(field, `stage ${stage || 'not noted'}`, (visit) => {
      visit.stage = stage;
      if (!stage) visit.share = null;
    });
    if (rows() === before) {
      mark();
      refresh();
    } else {
      redraw(focus);  // another stage may tell other life stages apart
    }
  };
  const around = stagesAround(stop.around, rules);
  const chips = around.map((stage) => button(stage, () => put(stage, `chip-${stage}`), {
    id: `chip-${stage}`, class: stage === stop.around ? 'forecast' : null,
    'aria-label': stage === stop.around ? `${stage}, forecast` : stage,
  }));
  const other = button('other', () => {
    picker.hidden = !picker.hidden;
    other.setAttribute('aria-expanded', String(!picker.hidden));
  }, { id: 'stage-other', 'aria-expanded': 'false', 'aria-controls': 'stage-part' });
  const mark = () => {
    const { stage } = book.visit(field);
    chips.forEach((chip) => chip.setAttribute('aria-pressed', String(chip.textContent === stage)));
    const apart = stage && !around.includes(stage);
    other.textContent = apart ? stage : 'other';
    other.classList.toggle('chosen', Boolean(apart));
    if (apart) other.setAttribute('aria-label', `${stage} noted, another stage`);
    else other.removeAttribute('aria-label');
    const picked = document.getElementById(`stage-${/^V([2-9]|[0-9]{2})$/.test(stage) ? 'Vn' : stage}`);
    if (picked) picked.checked = true;
  };
  const share = sharePart(book, stop, refresh);
  const picker = make('div', { id: 'stage-part', hidden: true },
    stagePicker(book, stop, put), share);
  const part = make('section', { id: 'stage-chips', 'aria-labelledby': 'stage-said' },
    make('p', { id: 'stage-said', class: 'small' }),
    make('div', { class: 'chips', role: 'group', 'aria-label': 'Growth stage' }, ...chips, other),
    picker);
  mark();
  return part;
}

function sharePart(book, stop, refresh) {
  return numberBox('share', 'Percent of plants in that stage or beyond',
    book.visit(stop.field_id).share, [1, 100], {
      put: (value) => {
        book.change(stop.field_id, 'percent of plants', (visit) => {
          visit.share = value;
        }, 'share');
        refresh();
      },
    });
}

// Every stage, with what it is.
function stagePicker(book, stop, put) {
  const said = book.visit(stop.field_id);
  const nodes = Math.max(2, Number((/^V([0-9]+)$/.exec(said.stage) || [])[1]) || 2);
  const count = make('select', {
    id: 'stage-nodes', 'aria-label': 'How many nodes',
    on: {
      change: () => {
        document.getElementById('stage-Vn').checked = true;
        put(`V${count.value}`, 'stage-nodes');
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
        on: { change: () => put(code === 'Vn' ? `V${count.value}` : code, `stage-${code}`) },
      }),
      make('label', { for: `stage-${code}` },
        make('b', { text: code || 'not noted' }), name ? ` ${name}` : '',
        definition ? make('span', { class: 'small', text: definition }) : ''),
      code === 'Vn' ? count : null);
  };
  return make('fieldset', {},
    make('legend', { text: 'A field is in a stage when half of its plants are in it or beyond.' }),
    make('p', { class: 'small', text: book.data.stages_note }),
    choice('', '', ''),
    ...book.data.rules.stages.map((one) => choice(one.code, one.name, one.definition)));
}
