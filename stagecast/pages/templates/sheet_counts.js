// Counting at a stop: one set at a time, a row for each pest. No button ever moves while one counts
// or goes on to the next set, so that a finger that comes down again finds the same pest.

const LIVES = ['', 'adults', 'nymphs', 'large larvae', 'small larvae', 'eggs'];
const MANY_IN_SET = 200;  // more is asked about once: it may be a slip of the finger
const TEN = 10;

// A button that cannot be used now stays where it is, and keeps the place of the keyboard.
function setUsable(element, usable) {
  element.setAttribute('aria-disabled', String(!usable));
}

// One pest in the set at hand. Every part is changed in its place.
function tile(book, stop, key, index, { refresh, say }) {
  const name = nameOf(book.data.rules, key);
  const id = `count-${index}`;
  const most = book.data.rules.limits.count;
  const { at, sets } = book.visit(stop.field_id);
  const value = () => countOf(setAt(book.visit(stop.field_id), at), key);
  const number = make('span', { class: 'number' });
  const put = (n, what, mark = null) => {
    book.change(stop.field_id, `${name} ${what}`, (visit) => {
      setCount(setAt(visit, at), key, n);
    }, mark);
    draw(mark === null);
    refresh();
    say(`${name}: ${n === null ? 'not looked for' : n}`);
  };
  const more = (step) => put(Math.min((value() || 0) + step, most), `+${step}`);
  const plus = button('', () => more(1), { id: `${id}-plus`, class: 'plus' });
  plus.append(make('span', { class: 'name', text: name }), number);
  const ten = SINGLE.includes(sets[at].of) ? button('+10', () => more(TEN), {
    id: `${id}-ten`, class: 'ten', 'aria-label': `${name}: ten more`,
  }) : null;
  // Says "none" of what was not looked for; then it takes one off, and at none it does nothing.
  const less = button('', () => {
    if (value() === null) put(0, 'none found');
    else if (value()) put(value() - 1, '\u22121');
  }, { id: `${id}-less`, class: 'less' });
  const draw = (box) => {
    const n = value();
    number.textContent = n === null ? '\u2013' : String(n);
    plus.setAttribute('aria-label', `${name}: ${n === null ? 'not looked for' : n}, one more`);
    plus.classList.toggle('unseen', n === null);
    less.textContent = n === null ? 'none' : '\u22121';
    less.setAttribute('aria-label', `${name}: ${n === null ? 'none found' : 'one less'}`);
    setUsable(less, n !== 0);
    if (box) typed.show(n);
  };
  const typed = typedCount(book, stop, key, { id, name, value: value(), put });
  draw(false);
  return make('div', { class: ten ? 'tile tens' : 'tile', role: 'group', 'aria-label': name },
    less, plus, ten, typed);
}

function typedCount(book, stop, key, { id, name, value, put }) {
  const typed = numberBox(`${id}-typed`, `${name}: type the count`, value, [0, book.data.rules.limits.count], {
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
  return typed;
}

// What is rated: a button for each step of the scale; a second tap on one takes it out again.
function ratedTile(book, stop, key, index, { refresh, say }) {
  const name = nameOf(book.data.rules, key);
  const { at } = book.visit(stop.field_id);
  const value = () => countOf(setAt(book.visit(stop.field_id), at), key);
  const steps = Array.from({ length: book.data.rules.scale + 1 }, (_, n) => button(String(n), () => {
    book.change(stop.field_id, `${name} rated ${n}`, (visit) => {
      setCount(setAt(visit, at), key, n);
    });
    draw();
    refresh();
    say(`${name}: rated ${n}`);
  }, { id: `count-${index}-${n}` }));
  const draw = () => steps.forEach((step, n) => (
    step.setAttribute('aria-pressed', String(n === value()))));
  draw();
  return make('div', { class: 'rated', role: 'group', 'aria-label': `${name}, rating` },
    make('p', { class: 'name', text: name }), make('div', { class: 'chips' }, ...steps));
}

// Pests whose threshold at the stage is in another unit than the set's.
function otherUnits(stop, set) {
  return stop.pests.filter((pest) => stop.home[pest] === set.of && stop.units[pest].length
    && !stop.units[pest].includes(set.of));
}

// The sets in one unit: which is at hand, its size, and its counts.
function setsPart(book, stop, parts) {
  const said = book.visit(stop.field_id);
  const { rules } = book.data;
  const set = said.sets[said.at];
  const others = otherUnits(stop, set).map((pest) => (
    `${rules.pests[pest].name}: its threshold is by ${stop.units[pest].join(' or ')}, so a count `
    + `by ${set.of} is noted and not judged.`));
  const row = set.of === RATED ? ratedTile : tile;
  return make('section', { 'aria-labelledby': 'set-title' },
    setHead(book, stop, parts),
    ...countedHere(book, stop).map((key, i) => row(book, stop, key, i, parts)),
    morePart(book, stop, parts),
    ...others.map((text) => make('p', { class: 'small other-unit', text })),
    rules.judged.includes(set.of) ? make('p', {
      class: 'small', text: 'What is rated and not counted is judged by its mean alone.',
    }) : null);
}

// Which set it is, the way back to others, and the size of one: a line that stays as high.
function setHead(book, stop, { refresh, redraw }) {
  const said = book.visit(stop.field_id);
  const { rules } = book.data;
  const set = said.sets[said.at];
  const places = placesOf(said, set.of);
  const number = places.indexOf(said.at) + 1;
  const wanted = wantedOf(rules, stop, set.of);
  const planned = wanted && number <= wanted ? ` of ${wanted}` : '';
  const blank = set.open && !set.counts.length && !book.beyond.has(stop.field_id);
  const done = doneOf(said, set.of);
  const title = blank && done && done >= wanted ? `${done} ${wordOf(set).toLowerCase()}s done`
    : `${wordOf(set)} ${number}${planned}`;
  const size = sizePart(book, stop, set, { refresh, redraw });
  const back = make('select', {
    id: 'set-at', hidden: places.length < 2, 'aria-label': 'Another set', on: {
      change: () => {
        book.change(stop.field_id, `on set ${Number(back.value) + 1}`, (visit) => {
          visit.at = places[Number(back.value)];
        });
        redraw('set-title');
      },
    },
  }, ...places.map((place, i) => make('option', {
    value: String(i), text: `${wordOf(set)} ${i + 1}`, selected: place === said.at,
  })));
  const toggle = button(sizeText(rules, set), () => {
    size.hidden = !size.hidden;
    toggle.setAttribute('aria-expanded', String(!size.hidden));
  }, { id: 'size-said', 'aria-expanded': 'false', 'aria-controls': 'size-part' });
  return make('div', {},
    make('div', { class: 'head-row' },
      make('h3', { id: 'set-title', tabindex: '-1', text: title }),
      back, toggle),
    size);
}

function sizePart(book, stop, set, { refresh, redraw }) {
  const field = stop.field_id;
  const { rules } = book.data;
  const { at } = book.visit(field);
  const number = numberBox('set-size', 'How many', set.size, rules.limits.size, {
    put: (value) => {
      if (value === null) return;
      book.change(field, 'size of the set', (visit) => {
        setAt(visit, at).size = value;
      }, 'size');
      document.getElementById('size-said').textContent = sizeText(rules, setAt(book.visit(field), at));
      refresh();
    },
  });
  const unit = make('select', {
    id: 'set-of', on: {
      change: () => {
        book.change(field, 'size of the set', (visit) => {
          setAt(visit, at).of = unit.value;
        });
        redraw('size-said');
      },
    },
  }, ...rules.units.map((of) => make('option', { value: of, text: of, selected: of === set.of })));
  return make('div', { id: 'size-part', hidden: true }, number,
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
