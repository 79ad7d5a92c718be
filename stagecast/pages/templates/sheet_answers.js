// What the sets that are done say: first in the words of the field, the reasons behind a tap.

const MARKS = { above: '\u25b2', below: '\u25bc', 'not enough sets': '\u25c6' };

// All sets but the one at the end, which is still being counted.
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

// "3 so far. 4 more sets would tell."
function soFar(line) {
  const found = `${numberText(line.total)} so far.`;
  if (line.answer !== 'not enough sets') return found;
  if (line.more === null) return `${found} More sets would likely not tell.`;
  return `${found} ${countedSets(line.more, 'more ')} would tell.`;
}

function headPart(name, answer) {
  return make('p', { class: 'head' },
    make('span', { 'aria-hidden': 'true', text: `${MARKS[answer] || '\u25cb'} ` }),
    make('b', { text: `${name}: ${answer}` }));
}

function reasonsPart(texts) {
  return make('details', {}, make('summary', { text: 'Why' }),
    ...texts.map((text) => make('p', { class: 'small', text: sentence(text) })));
}

function answerPart(book, line) {
  const name = titleOf(book, line);
  const threshold = line.text ? [`threshold ${line.text}`] : [];
  return make('div', { class: `answer ${line.answer.replaceAll(' ', '-')}` },
    headPart(name, line.answer),
    make('p', { class: 'so-far', text: soFar(line) }),
    reasonsPart([...threshold, line.why, ...line.notes]));
}

function sentence(text) {
  return `${text.slice(0, 1).toUpperCase()}${text.slice(1)}.`;
}

function leafPart(leaf) {
  const others = leaf.otherwise.map((one) => `${one.answer} ${one.text}`);
  return make('div', { class: `answer ${leaf.answer.replaceAll(' ', '-')}` },
    headPart('leaf loss', leaf.answer), reasonsPart([leaf.why, ...others]));
}

// Fill the place of the answers; what says the same as before stays as it is, open or closed.
function drawAnswers(book, stop, place, leafPlace) {
  const found = judgeNow(book, stop);
  const key = JSON.stringify(found);
  if (place.answers === key) return;
  place.answers = key;
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
      const next = document.getElementById('set-title');
      next.focus();
      next.scrollIntoView({ block: 'start' });
    }, { class: 'wide' }) : '');
  leafPlace.replaceChildren(found.leaf ? leafPart(found.leaf) : '');
}
