// Counting at a stop: one set at a time, a large button for each pest, and what the sets say.

const LIVES = ['', 'adults', 'nymphs', 'large larvae', 'small larvae', 'eggs'];
const MARKS = { above: '\u25b2', below: '\u25bc', 'not enough sets': '\u25c6' };

// What has a button in a set: the pests planned for, and every other that some set names.
function countedHere(book, stop) {
  const keys = new Map(stop.pests.map((pest) => [`${pest} `, { pest, life: '' }]));
  for (const set of book.visit(stop.field_id).sets) {
    for (const { pest, life } of set.counts) keys.set(`${pest} ${life}`, { pest, life });
  }
  return [...keys.values()];
}

function countOf(set, { pest, life }) {
  const found = set.counts.find((count) => count.pest === pest && count.life === life);
  return found ? found.n : null;
}

// Write a count into a set; null takes it out: it was not looked for.
function setCount(set, { pest, life }, n) {
  const found = set.counts.find((count) => count.pest === pest && count.life === life);
  if (n === null) set.counts = set.counts.filter((count) => count !== found);
  else if (found) found.n = n;
  else set.counts.push({ pest, life, n });
}

function nameOf(rules, { pest, life }) {
  const { name } = rules.pests[pest] || { name: pest };
  return life ? `${name}, ${life}` : name;
}

// One pest in the set at hand. Every part is changed in its place, so that a finger that goes
// from a box to a button finds the button still there.
function tile(book, stop, key, index, { refresh, say }) {
  const name = nameOf(book.data.rules, key);
  const id = `count-${index}`;
  const most = book.data.rules.limits.count;
  const value = () => {
    const said = book.visit(stop.field_id);
    return countOf(said.sets[said.at], key);
  };
  const number = make('span', { class: 'number' });
  const word = make('span', { class: 'small word' });
  const put = (n, mark = null) => {
    book.change(stop.field_id, mark, (visit) => setCount(visit.sets[visit.at], key, n));
    draw(mark === null);
    refresh();
    say(`${name}: ${n === null ? 'not looked for' : n}`);
  };
  const plus = button('', () => put(Math.min((value() || 0) + 1, most)), {
    id: `${id}-plus`, class: 'plus',
  });
  plus.append(make('span', { class: 'name', text: name }), number, word);
  const minus = button('\u22121', () => put(Math.max(value() - 1, 0)), {
    id: `${id}-minus`, class: 'minus', 'aria-label': `${name}: one less`,
  });
  const zero = button('', () => put(value() === null ? 0 : null), {
    id: `${id}-zero`, class: 'zero',
  });
  const typed = numberBox(`${id}-typed`, `${name}: type the count`, value(), [0, most], {
    whole: true, hidden: true, put: (n) => put(n, `${id} ${key.pest} ${key.life}`),
  });
  typed.querySelector('input').placeholder = 'type';
  const draw = (box) => {
    const n = value();
    number.textContent = n === null ? '\u2013' : String(n);
    word.textContent = n === null ? 'not looked for' : 'tap: one more';
    plus.setAttribute('aria-label', `${name}: ${n === null ? 'not looked for' : n}, one more`);
    plus.classList.toggle('unseen', n === null);
    minus.disabled = !n;
    zero.hidden = Boolean(n);
    zero.textContent = n === null ? 'none found' : 'take back: not looked for';
    zero.setAttribute('aria-label', `${name}: ${zero.textContent}`);
    if (box) typed.querySelector('input').value = n === null ? '' : String(n);
  };
  draw(false);
  return make('div', { class: 'tile', role: 'group', 'aria-label': name },
    minus, plus, typed, zero);
}

// The sets of a stop: which is at hand, its size, its counts, and the way to the next.
function setsPart(book, stop, { refresh, redraw, say }) {
  const said = book.visit(stop.field_id);
  const { rules } = book.data;
  const set = said.sets[said.at];
  const number = said.at + 1;
  const field = stop.field_id;
  const chips = said.sets.map((one, i) => button(String(i + 1), () => {
    book.change(field, null, (visit) => {
      visit.at = i;
    });
    redraw('set-title');
  }, {
    id: `set-${i + 1}`, 'aria-label': `Set ${i + 1}`,
    'aria-current': i === said.at ? 'true' : null,
  }));
  const rest = () => {
    book.change(field, null, (visit) => {
      const here = visit.sets[visit.at];
      for (const key of countedHere(book, stop)) {
        if (countOf(here, key) === null) setCount(here, key, 0);
      }
    });
    redraw('set-rest');
  };
  const done = () => {
    book.change(field, null, (visit) => {
      const last = visit.sets[visit.sets.length - 1];
      if (last.counts.length) visit.sets.push(blankSet(last));
      visit.at = visit.sets.length - 1;
    });
    redraw('said-title');
    const first = judgeNow(book, stop).pests.map((line) => `${titleOf(book, line)}: ${line.answer}`);
    say(`Set ${number} done. ${first.join('. ')}`);
  };
  const planned = number > stop.wanted_sets ? 'beyond the plan' : `of ${stop.wanted_sets} planned`;
  return make('section', { 'aria-labelledby': 'set-title' },
    make('h3', { id: 'set-title', tabindex: '-1', text: `Set ${number}, ${planned}` }),
    said.sets.length > 1
      ? make('div', { class: 'row', role: 'group', 'aria-label': 'Sets so far' }, ...chips) : null,
    sizePart(book, stop, set, refresh),
    ...countedHere(book, stop).map((key, i) => tile(book, stop, key, i, { refresh, say })),
    morePart(book, stop, redraw),
    button('none of the rest found', rest, { id: 'set-rest', class: 'wide' }),
    button(`Set ${number} done`, done, { id: 'set-done', class: 'wide main' }),
    rules.judged.includes(set.of) ? make('p', {
      class: 'small', text: 'What is rated and not counted is judged by its mean alone.',
    }) : null);
}

function sizePart(book, stop, set, refresh) {
  const field = stop.field_id;
  const { rules } = book.data;
  const told = make('summary', { id: 'size-said', text: `A set is ${set.size} ${set.of}` });
  const put = (mark, name) => (value) => {
    if (value === null) return;
    book.change(field, mark, (visit) => {
      visit.sets[visit.at][name] = value;
    });
    const now = book.visit(field);
    const here = now.sets[now.at];
    told.textContent = `A set is ${here.size} ${here.of}`;
    refresh();
  };
  const unit = make('select', {
    id: 'set-of', on: { change: () => put(null, 'of')(unit.value) },
  }, ...rules.units.map((of) => make('option', { value: of, text: of, selected: of === set.of })));
  return make('details', {}, told,
    numberBox('set-size', 'How many', set.size, rules.limits.size, { put: put('size', 'size') }),
    make('div', { class: 'box' }, make('label', { for: 'set-of', text: 'of what' }), unit));
}

// Another pest, or one life stage of a pest apart.
function morePart(book, stop, redraw) {
  const { rules } = book.data;
  const option = (pest) => make('option', { value: pest, text: rules.pests[pest].name });
  const pest = make('select', { id: 'more-pest' }, ...[...stop.others, ...stop.pests].map(option));
  const life = make('select', { id: 'more-life' }, ...LIVES.map((one) => make('option', {
    value: one, text: one || 'all together',
  })));
  const add = () => {
    book.change(stop.field_id, null, (visit) => {
      const key = { pest: pest.value, life: life.value };
      if (countOf(visit.sets[visit.at], key) === null) setCount(visit.sets[visit.at], key, 0);
    });
    redraw('more-said');
  };
  return make('details', {},
    make('summary', { id: 'more-said', text: 'Count another pest' }),
    make('div', { class: 'box' }, make('label', { for: 'more-pest', text: 'Pest' }), pest),
    make('div', { class: 'box' }, make('label', { for: 'more-life', text: 'Life stage' }), life),
    button('Add it to this set, with 0 found', add, { id: 'more-add', class: 'wide' }));
}

// What the sets that are done say: all but the one at the end, which is still being counted.
function judgeNow(book, stop) {
  const said = book.visit(stop.field_id);
  const sets = said.sets.slice(0, -1).filter((set) => set.counts.length);
  return { ...judgeVisit(said, sets, stop, book.data.rules), done: sets.length };
}

function titleOf(book, line) {
  const { pests } = book.data.rules;
  const own = pests[line.pest].name;
  const counted = line.parts.map(([pest]) => pests[pest].name);
  const others = counted.filter((name) => name !== own);
  if (!others.length) return own;
  const together = others.join(' and ');
  return others.length < counted.length ? `${own} with ${together}` : `${own} (${together})`;
}

function answerPart(book, line) {
  const kind = line.answer.replaceAll(' ', '-');
  return make('div', { class: `answer ${kind}` },
    make('p', {}, make('b', {}, make('span', { 'aria-hidden': 'true', text: `${markOf(line.answer)} ` }),
      `${titleOf(book, line)}: ${line.answer}`)),
    line.text ? make('p', { class: 'small', text: `Threshold ${line.text}` }) : null,
    ...[line.why, ...line.notes].map((text) => make('p', { class: 'small', text: sentence(text) })));
}

function markOf(answer) {
  return MARKS[answer] || '\u25cb';
}

function sentence(text) {
  return `${text.slice(0, 1).toUpperCase()}${text.slice(1)}.`;
}

// Fill the place of the answers.
function drawAnswers(book, stop, place, leafPlace) {
  const found = judgeNow(book, stop);
  const title = found.done
    ? `After ${countedSets(found.done)}, at ${found.stage}${found.seen ? '' : ' by the forecast'}`
    : 'After each set that is done, what it says stands here';
  place.replaceChildren(
    make('h3', { id: 'said-title', tabindex: '-1', text: title }),
    ...found.pests.map((line) => answerPart(book, line)),
    found.otherwise.length ? make('details', {},
      make('summary', { text: 'By other states or under other conditions' }),
      ...found.otherwise.map((line) => answerPart(book, line))) : '',
    found.done ? button('On to the next set', () => {
      const title = document.getElementById('set-title');
      title.focus();
      title.scrollIntoView({ block: 'start' });
    }, { class: 'wide' }) : '');
  leafPlace.replaceChildren(found.leaf ? make('div', { class: `answer ${found.leaf.answer}` },
    make('p', {}, make('b', {}, make('span', { 'aria-hidden': 'true', text: `${markOf(found.leaf.answer)} ` }),
      `leaf loss: ${found.leaf.answer}`)),
    make('p', { class: 'small', text: sentence(found.leaf.why) }),
    ...found.leaf.otherwise.map((one) => make('p', {
      class: 'small', text: sentence(`${one.answer} ${one.text}`),
    }))) : '');
}
