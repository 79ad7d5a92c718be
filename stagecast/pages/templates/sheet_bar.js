// The two buttons that are always seen: what ends a set or a place and, once those of the plan are
// done, what leads to the next stop; and beside it the same for a set in which less was looked for.

const SECOND_TAP_MS = 600;  // a tap sooner than this after another is the same one

function tooSoon(book) {
  const now = Date.now();
  if (now - book.doneAt < SECOND_TAP_MS) return true;
  book.doneAt = now;
  return false;
}

// End the set at hand and go on with the one that is being counted. `rest` is what becomes of pests
// without a count: 0 for none found, null for not looked for.
function endSet(book, stop, rest) {
  const keys = countedHere(book, stop);
  const said = book.visit(stop.field_id);
  const { at } = said;
  const number = placesOf(said, said.sets[at].of).indexOf(at) + 1;
  book.change(stop.field_id, `${wordOf(said.sets[at]).toLowerCase()} ${number} done`, (visit) => {
    const set = setAt(visit, at);
    if (rest !== null) {
      for (const key of keys) if (countOf(set, key) === null) setCount(set, key, rest);
    }
    delete set.open;
    toOpenSet(visit, set);
    visit.left = clockOn(book.data.day) || visit.left;
  });
  book.beyond.delete(stop.field_id);
}

// What the main button does now: `text`, `small` below it, and `act`; and the button beside it.
function barStep(book, stop, parts) {
  const form = formAt(book, stop);
  const said = book.visit(stop.field_id);
  const { rules } = book.data;
  if (form === STAND || form === LEAVES) return placeStep(book, stop, form, parts);
  const set = said.sets[said.at];
  const counted = set.counts.length > 0;
  const enough = doneOf(said, form) >= wantedOf(rules, stop, form);
  if (set.open && !counted && enough && !book.beyond.has(stop.field_id)) {
    const more = { id: 'set-more', text: `One more ${wordOf(set).toLowerCase()}`, act: () => {
      book.beyond.add(stop.field_id);
      parts.redraw('set-done');
    } };
    return { ...onStep(book, stop, form, parts), side: more };
  }
  return countStep(book, stop, set, parts);
}

function countStep(book, stop, set, parts) {
  const { redraw, say } = parts;
  const keys = countedHere(book, stop);
  const missing = keys.filter((key) => countOf(set, key) === null);
  const said = book.visit(stop.field_id);
  const number = placesOf(said, set.of).indexOf(said.at) + 1;
  const end = (rest) => () => {
    if (!keys.length || (rest === null && missing.length === keys.length)) {
      say(keys.length ? 'Nothing is noted here yet' : 'No pest is asked for here: add one below', true);
      return;
    }
    endSet(book, stop, rest);
    redraw('set-done');
    const told = judgeNow(book, stop).pests.map((line) => `${titleOf(book, line)}: ${line.answer}`);
    say(`${wordOf(set)} ${number} done. ${told.join('. ')}`);
  };
  const rated = set.of === RATED;
  let small = missing.length && !rated ? 'none of the rest' : '';
  if (missing.length === keys.length && !rated) small = 'nothing found';
  const partly = missing.length > 0 && missing.length < keys.length && !rated;
  // Before anything is counted in it one may as well leave: it rains, or it is over already.
  const leaving = set.open && !set.counts.length && hasContent(said);
  const leave = {
    id: 'set-leave', text: 'Leave this field', act: leaveStep(book, stop).act,
  };
  return {
    text: `${wordOf(set)} ${number} done`,
    small,
    usable: !rated || missing.length < keys.length,
    act: end(rated ? null : 0),
    side: leaving ? leave
      : { id: 'set-part', text: 'Done, rest not looked for', usable: partly, act: end(null) },
  };
}

// A stand or leaf loss, place by place.
function placeStep(book, stop, form, parts) {
  const here = book.placeAt.get(stop.field_id) || 0;
  const done = doneOf(book.visit(stop.field_id), form);
  const what = form === STAND ? 'Type how many plants stand there first' : 'Tap a percent first';
  if (done <= here && here >= stop.wanted_sets) return onStep(book, stop, form, parts);
  return {
    text: `Place ${here + 1} done`,
    small: '',
    usable: done > here,
    act: () => {
      if (done <= here) {
        parts.say(what, true);
        return;
      }
      parts.redraw(form === STAND ? 'stand-plants' : 'leaves-title');
    },
  };
}

// What is done as planned leads on: to the form of the plan, else away.
function onStep(book, stop, form, parts) {
  const said = book.visit(stop.field_id);
  const [planned] = formsOf(said, stop);
  if (form === planned || doneOf(said, planned) >= stop.wanted_sets) {
    return leaveStep(book, stop);
  }
  return { text: `On with ${formTitle(planned)}`, small: '', act: () => {
    openForm(book, stop, planned);
    parts.redraw('set-done');
  } };
}

// To the next stop, or to sending.
function leaveStep(book, stop) {
  const said = book.visit(stop.field_id);
  const next = nextStop(book, stop);
  const name = next ? next.label.slice(next.field_id.length).trim() : '';
  return {
    text: next ? `Done here, next: ${next.field_id}` : 'Done here, last stop',
    small: !said.stage && hasContent(said) ? 'no growth stage noted' : name,
    act: () => {
      if (hasContent(said)) {
        book.change(stop.field_id, 'left', (visit) => {
          visit.left = clockOn(book.data.day) || visit.left;
        });
      }
      window.location.hash = next ? `stop-${next.number}` : 'send';
    },
  };
}

// The next stop of the day of which nothing is noted yet, else the one that follows.
function nextStop(book, stop) {
  const { stops } = book.data;
  const after = stops.slice(stops.indexOf(stop) + 1);
  return after.find((one) => book.standing(one.field_id) === 'nothing') || after[0] || null;
}

function formTitle(form) {
  return { [STAND]: 'the stand', [LEAVES]: 'leaf loss' }[form] || form;
}

// Which form is at hand, where a stop has several: what is swept for is not counted on plants.
function formsPart(book, stop, { redraw }) {
  const forms = formsOf(book.visit(stop.field_id), stop);
  if (forms.length < 2) return '';
  const now = formAt(book, stop);
  return make('div', { class: 'chips', role: 'group', 'aria-label': 'What is looked at' },
    ...forms.map((form) => button(form === STAND ? 'stand' : formTitle(form), () => {
      openForm(book, stop, form);
      redraw(`form-${form}`);
    }, { id: `form-${form}`, 'aria-pressed': String(form === now) })));
}

// The buttons, made once for a stop; `update` has them say what holds now, in their places.
function barPart(book, stop, parts) {
  let step = null;
  const main = button('', () => {
    if (!tooSoon(book)) step.act();
  }, { id: 'set-done', class: 'main' });
  const side = button('', () => {
    if (step.side && step.side.usable !== false && !tooSoon(book)) step.side.act();
  }, { class: 'side' });
  const update = () => {
    step = barStep(book, stop, parts);
    main.replaceChildren(make('span', { text: step.text }),
      step.small ? make('span', { class: 'small', text: step.small }) : '');
    setUsable(main, step.usable !== false);
    const beside = step.side;
    side.hidden = !beside;
    side.id = beside ? beside.id : 'set-part';
    side.textContent = beside ? beside.text : '';
    setUsable(side, Boolean(beside) && beside.usable !== false);
  };
  return { nodes: [main, side], update };
}
