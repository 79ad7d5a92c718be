// Counting at a stop: one set at a time, a large button for each pest. No button ever moves while
// one counts, so that a finger that comes down again finds the same pest.

const LIVES = ['', 'adults', 'nymphs', 'large larvae', 'small larvae', 'eggs'];
const MANY_IN_SET = 200;  // more is asked about once: it may be a slip of the finger
const SECOND_TAP_MS = 600;  // a tap sooner than this after another is the same one

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

// The set that was drawn; another window may have taken it back meanwhile.
function setAt(said, at) {
  return said.sets[at] || said.sets[said.sets.length - 1];
}

function nameOf(rules, { pest, life }) {
  const { name } = rules.pests[pest] || { name: pest };
  return life ? `${name}, ${life}` : name;
}

// "25 sweeps", "1 plant".
function sizeText(rules, { size, of }) {
  return `${short(size)} ${size === 1 ? rules.one_of[of] : of}`;
}

// A button that cannot be used now stays where it is, and keeps the place of the keyboard.
function setUsable(element, usable) {
  element.setAttribute('aria-disabled', String(!usable));
}

// One pest in the set at hand. Every part is changed in its place.
function tile(book, stop, key, index, { refresh, say }) {
  const name = nameOf(book.data.rules, key);
  const id = `count-${index}`;
  const most = book.data.rules.limits.count;
  const { at } = book.visit(stop.field_id);
  const value = () => countOf(setAt(book.visit(stop.field_id), at), key);
  const number = make('span', { class: 'number' });
  const word = make('span', { class: 'small word' });
  const put = (n, what, mark = null) => {
    book.change(stop.field_id, `${name} ${what}`, (visit) => {
      setCount(setAt(visit, at), key, n);
    }, mark);
    draw(mark === null);
    refresh();
    say(`${name}: ${n === null ? 'not looked for' : n}`);
  };
  const plus = button('', () => put(Math.min((value() || 0) + 1, most), '+1'), {
    id: `${id}-plus`, class: 'plus',
  });
  plus.append(make('span', { class: 'name', text: name }), number, word);
  const minus = button('\u22121', () => {
    if (value()) put(value() - 1, '\u22121');
  }, { id: `${id}-minus`, class: 'minus', 'aria-label': `${name}: one less` });
  // This only ever says "none": a second tap on it does nothing.
  const zero = button('none found', () => {
    if (value() === null) put(0, 'none found');
  }, { id: `${id}-zero`, class: 'zero', 'aria-label': `${name}: none found` });
  const typed = numberBox(`${id}-typed`, `${name}: type the count`, value(), [0, most], {
    whole: true,
    hidden: true,
    put: (n) => put(n, n === null ? 'not looked for' : String(n), `${id} ${key.pest} ${key.life}`),
    doubt: (n) => {
      const asked = `${stop.field_id} ${key.pest} ${key.life}`;
      if (n <= MANY_IN_SET || book.asked.has(asked)) return '';
      book.asked.add(asked);
      return `${grouped(n)} in one set? If not, type it again.`;
    },
  });
  typed.querySelector('input').placeholder = 'type';
  const draw = (box) => {
    const n = value();
    number.textContent = n === null ? '\u2013' : String(n);
    word.textContent = n === null ? 'not looked for' : 'tap: one more';
    plus.setAttribute('aria-label', `${name}: ${n === null ? 'not looked for' : n}, one more`);
    plus.classList.toggle('unseen', n === null);
    setUsable(minus, Boolean(n));
    setUsable(zero, n === null);
    if (box) typed.show(n);
  };
  draw(false);
  return make('div', { class: 'tile', role: 'group', 'aria-label': name },
    minus, plus, typed, zero);
}

// Pests whose threshold at the stage is in another unit than the set's.
function otherUnits(stop, set) {
  return stop.pests.filter((pest) => stop.units[pest].length && !stop.units[pest].includes(set.of));
}

// The sets of a stop: which is at hand, its size, and its counts.
function setsPart(book, stop, { refresh, redraw, say }) {
  const said = book.visit(stop.field_id);
  const { rules } = book.data;
  const set = said.sets[said.at];
  const number = said.at + 1;
  const field = stop.field_id;
  const chips = said.sets.map((one, i) => button(String(i + 1), () => {
    book.change(field, `on set ${i + 1}`, (visit) => {
      visit.at = i;
    });
    redraw('set-title');
  }, {
    id: `set-${i + 1}`, 'aria-label': `Set ${i + 1}`,
    'aria-current': i === said.at ? 'true' : null,
  }));
  const rest = () => {
    book.change(field, 'none of the rest found', (visit) => {
      const here = setAt(visit, said.at);
      for (const key of countedHere(book, stop)) {
        if (countOf(here, key) === null) setCount(here, key, 0);
      }
    });
    redraw('set-rest');
  };
  const planned = number > stop.wanted_sets ? 'beyond the plan' : `of ${stop.wanted_sets} planned`;
  const others = otherUnits(stop, set).map((pest) => (
    `${rules.pests[pest].name}: its threshold is by ${stop.units[pest].join(' or ')}, so a count `
    + `by ${set.of} is noted and not judged.`));
  return make('section', { 'aria-labelledby': 'set-title' },
    make('h3', { id: 'set-title', tabindex: '-1', text: `Set ${number}, ${planned}` }),
    said.sets.length > 1
      ? make('div', { class: 'row', role: 'group', 'aria-label': 'Sets so far' }, ...chips) : null,
    sizePart(book, stop, set, refresh),
    ...countedHere(book, stop).map((key, i) => tile(book, stop, key, i, { refresh, say })),
    button('none of the rest found', rest, { id: 'set-rest', class: 'wide' }),
    morePart(book, stop, { redraw, say }),
    ...others.map((text) => make('p', { class: 'small other-unit', text })),
    rules.judged.includes(set.of) ? make('p', {
      class: 'small', text: 'What is rated and not counted is judged by its mean alone.',
    }) : null);
}

// The button that ends a set. It stands where it is always seen; a second tap ends no second set.
function doneButton(book, stop, { redraw, say }) {
  const { at } = book.visit(stop.field_id);
  const done = () => {
    const now = Date.now();
    if (now - book.doneAt < SECOND_TAP_MS) return;
    book.doneAt = now;
    if (!setAt(book.visit(stop.field_id), at).counts.length) {
      say('Nothing is counted in this set yet', true);
      return;
    }
    book.change(stop.field_id, `set ${at + 1} done`, (visit) => {
      const last = visit.sets[visit.sets.length - 1];
      if (last.counts.length) visit.sets.push(blankSet(last));
      visit.at = visit.sets.length - 1;
      visit.left = clockOn(book.data.day) || visit.left;
    });
    redraw('said-title');
    const said = judgeNow(book, stop).pests.map((line) => `${titleOf(book, line)}: ${line.answer}`);
    say(`Set ${at + 1} done. ${said.join('. ')}`);
  };
  return button(`Set ${at + 1} done`, done, { id: 'set-done', class: 'main' });
}

function sizePart(book, stop, set, refresh) {
  const field = stop.field_id;
  const { rules } = book.data;
  const { at } = book.visit(field);
  const told = make('summary', { id: 'size-said', text: `A set is ${sizeText(rules, set)}` });
  const put = (mark, name) => (value) => {
    if (value === null) return;
    book.change(field, 'size of the set', (visit) => {
      setAt(visit, at)[name] = value;
    }, mark);
    told.textContent = `A set is ${sizeText(rules, setAt(book.visit(field), at))}`;
    refresh();
  };
  const unit = make('select', {
    id: 'set-of', on: { change: () => put(null, 'of')(unit.value) },
  }, ...rules.units.map((of) => make('option', { value: of, text: of, selected: of === set.of })));
  return make('details', {}, told,
    numberBox('set-size', 'How many', set.size, rules.limits.size, { put: put('size', 'size') }),
    make('div', { class: 'box' }, make('label', { for: 'set-of', text: 'of what' }), unit));
}

// Another pest, or one life stage of a pest apart; and the way to take a count out again.
function morePart(book, stop, { redraw, say }) {
  const { rules } = book.data;
  const option = (pest) => make('option', { value: pest, text: rules.pests[pest].name });
  const pest = make('select', { id: 'more-pest' }, ...[...stop.others, ...stop.pests].map(option));
  const life = make('select', { id: 'more-life' }, ...LIVES.map((one) => make('option', {
    value: one, text: one || 'all together',
  })));
  const { at } = book.visit(stop.field_id);
  const key = () => ({ pest: pest.value, life: life.value });
  const add = () => {
    const name = nameOf(rules, key());
    book.change(stop.field_id, `${name} added`, (visit) => {
      if (countOf(setAt(visit, at), key()) === null) setCount(setAt(visit, at), key(), 0);
    });
    redraw('more-said');
    say(`${name}: none found so far`);
  };
  const take = () => {
    const name = nameOf(rules, key());
    book.change(stop.field_id, `${name} taken out`, (visit) => {
      setCount(setAt(visit, at), key(), null);
    });
    redraw('more-said');
    say(`${name}: not looked for`);
  };
  return make('details', {},
    make('summary', { id: 'more-said', text: 'Count another pest, or take a count out' }),
    make('div', { class: 'box' }, make('label', { for: 'more-pest', text: 'Pest' }), pest),
    make('div', { class: 'box' }, make('label', { for: 'more-life', text: 'Life stage' }), life),
    button('Add it to this set, with 0 found', add, { id: 'more-add', class: 'wide' }),
    button('Take it out of this set: not looked for', take, { id: 'more-out', class: 'wide' }));
}
