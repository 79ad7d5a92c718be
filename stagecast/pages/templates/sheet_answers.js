// What the sets that are done say: first in the words of the field, the reasons behind a tap.

let lastJudged = { key: '', found: null };

// All sets but those still being counted; judged once for the same sets.
function judgeNow(book, stop) {
  const said = book.visit(stop.field_id);
  const sets = doneSets(said);
  const key = JSON.stringify([stop.field_id, said.stage, said.share, said.defoliation, sets]);
  if (lastJudged.key !== key) {
    const found = judgeVisit(said, sets, stop, book.data.rules);
    lastJudged = { key, found: { ...found, done: sets.length } };
  }
  return lastJudged.found;
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

// What one sees first: the pest that most likely is over its threshold.
function nearestOf(lines) {
  const place = (line) => (line.chance === null ? line.mean / (line.threshold || Infinity) - 1
    : line.chance);
  return lines.filter((line) => line.threshold !== null)
    .reduce((best, line) => (best === null || place(line) > place(best) ? line : best), null);
}

// The answer of the stop in one line, for the bar: "11.5 of 9, above"; before the usual sets are
// taken "12 of 9, 2 more sets". Others that are above are told with it.
function barText(line, lines) {
  const above = lines.filter((one) => one.answer === 'above' && one !== line).length;
  const also = above ? `, ${above} more above` : '';
  if (line.stop) return `${amountText(line)}, could stop${also}`;
  const answer = line.answer === 'too few' ? countedSets(line.missing, 'more ') : line.answer;
  return `${amountText(line)}, ${answer}${also}`;
}

// Whether no number needs a look: each is far below its threshold, and no set is missing for that.
function allFar(lines, leaf) {
  const judged = lines.filter((line) => line.threshold !== null);
  const far = (line) => (line.chance === null ? line.mean === 0 : line.chance < NEARLY);
  return judged.length > 1 && (!leaf || leaf.threshold === null || leaf.answer === 'below')
    && judged.every((line) => far(line) && (line.answer === 'below' || line.stop));
}

function drawBar(book, found, bar) {
  const line = nearestOf(found.pests);
  const { leaf } = found;
  if (allFar(found.pests, leaf)) {
    const stop = found.pests.some((one) => one.answer === 'too few') ? ', could stop' : '';
    bar.hidden = false;
    bar.replaceChildren(make('p', { id: 'bar-said', text: `all far below${stop}` }));
    return;
  }
  const shown = line || (leaf && leaf.threshold !== null
    ? { ...leaf, mean: leaf.percent, low: null, high: null } : null);
  bar.hidden = !shown;
  if (!shown) return;
  const name = line ? book.data.rules.pests[line.pest].name : 'leaf loss';
  const text = line ? barText(line, found.pests) : `${amountText(shown)} percent, ${shown.answer}`;
  bar.replaceChildren(make('p', { id: 'bar-said' },
    make('span', { class: 'name', text: name }), ` ${text}`), numberLine(shown));
}

// "11.5 of 9 per 25 sweeps (8.4-16.8), 86%".
function numbersText(line) {
  return line.chance === null ? line.against : `${line.against}, ${chanceText(line.chance)}`;
}

function headPart(name, answer) {
  return make('p', { class: 'head' }, make('b', { text: `${name}: ${answer}` }));
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
    numberLine(line),
    make('p', { class: 'so-far', text: numbersText(line) }),
    ...line.next.map((text) => make('p', { class: 'next', text: sentence(text) })),
    reasonsPart([...threshold, line.why, ...line.notes]));
}

function sentence(text) {
  return `${text.slice(0, 1).toUpperCase()}${text.slice(1)}.`;
}

function leafPart(leaf) {
  const others = leaf.otherwise.map((one) => `${one.answer} ${one.text}`);
  return make('div', { class: `answer ${leaf.answer.replaceAll(' ', '-')}` },
    headPart('leaf loss', leaf.answer),
    numberLine({ ...leaf, mean: leaf.percent, low: null, high: null }),
    reasonsPart([leaf.why, ...others]));
}

// Fill the place of the answers; what says the same as before stays as it is, open or closed.
function drawAnswers(book, stop, place, leafPlace, bar) {
  const found = judgeNow(book, stop);
  const key = JSON.stringify(found);
  if (place.answers === key) return;
  place.answers = key;
  drawBar(book, found, bar);
  const title = found.done
    ? `After ${countedSets(found.done)}, at ${found.stage}${found.seen ? '' : ' by the forecast'}`
    : 'After each set that is done, what it says stands here';
  place.replaceChildren(
    make('h3', { id: 'said-title', tabindex: '-1', text: title }),
    ...found.pests.map((line) => answerPart(book, line)),
    found.otherwise.length ? make('details', {},
      make('summary', { text: 'By other states or under other conditions' }),
      ...found.otherwise.map((line) => answerPart(book, line))) : '');
  leafPlace.replaceChildren(found.leaf ? leafPart(found.leaf) : '');
}
