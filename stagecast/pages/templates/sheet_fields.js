// A field that is not on the sheet: added by its id, with what is needed to count and judge there.

// Find a field of the season by what was typed: its id or its name, in any case.
function fieldNamed(data, typed) {
  const wanted = typed.trim().toLowerCase();
  const said = ([id, label]) => [id, label, label.slice(id.length)]
    .map((one) => one.trim().toLowerCase());
  const known = [...data.stops.map((stop) => [stop.field_id, stop.label]), ...data.fields];
  return wanted ? known.find((field) => said(field).includes(wanted)) || null : null;
}

function likelyFields(data, typed) {
  const wanted = typed.trim().toLowerCase();
  return data.fields.filter(([, label]) => wanted && label.toLowerCase().includes(wanted))
    .slice(0, 5).map(([, label]) => label);
}

// Make a stop of a field of the season, after all others; null for one that the sheet does not have.
function addStop(book, field) {
  const { data } = book;
  const found = data.fields.find(([id]) => id === field);
  if (!found || book.stops.has(field)) return null;
  const [, label, kind] = found;
  const stop = { ...data.kinds[kind], field_id: field, label, number: data.stops.length + 1 };
  const byName = (one, other) => (data.rules.pests[one].name < data.rules.pests[other].name ? -1 : 1);
  stop.others = Object.keys(data.rules.pests).sort(byName)
    .filter((pest) => !stop.pests.includes(pest) && pest !== data.rules.leaf_pest);
  data.stops.push(stop);
  book.stops.set(field, stop);
  return stop;
}

// Its part of the page, as planned stops have theirs.
function addedSection(stop) {
  return make('section', {
    class: 'stop', id: `stop-${stop.number}`, 'aria-labelledby': `title-${stop.number}`, hidden: true,
  },
  make('h2', { id: `title-${stop.number}`, dir: 'auto', tabindex: '-1', text: stop.label }),
  make('p', { class: 'small at', text: `Stop ${stop.number}, added here` }),
  ...stop.entry.map((text) => make('p', { class: 'note' }, make('b', { text }))),
  make('div', { id: `panel-${stop.number}` }));
}

function addedLine(stop) {
  return make('li', {}, make('a', { href: `#stop-${stop.number}` },
    make('b', { dir: 'auto', text: stop.label }), make('br'),
    make('span', { class: 'small' }, `Stop ${stop.number}, added here. `,
      make('span', { id: `standing-${stop.number}` }))));
}

// `opened` is called with the stop that a person asked for.
function openFields(book, { byId, opened }) {
  const { data } = book;

  function draw(stop) {
    byId('list').before(addedSection(stop));
    byId('stops').append(addedLine(stop));
  }

  // Stops that were added before, here or in another window.
  function follow() {
    (book.state.added || []).map((field) => addStop(book, field)).filter(Boolean).forEach(draw);
  }

  function asked() {
    const typed = byId('add-field').value;
    const found = fieldNamed(data, typed);
    if (!found) {
      const likely = likelyFields(data, typed);
      byId('add-said').textContent = likely.length ? `Which one: ${likely.join(', ')}?`
        : 'No field of the season has this id.';
      return;
    }
    const [field] = found;
    if (!book.stops.has(field)) {
      book.add(field);
      follow();
    }
    byId('add-field').value = '';
    byId('add-said').textContent = '';
    opened(book.stops.get(field));
  }

  byId('add').hidden = !data.fields.length;
  byId('add-ids').replaceChildren(...data.fields.map(([id, label]) => (
    make('option', { value: id, text: label }))));
  byId('add').addEventListener('submit', (event) => {
    event.preventDefault();
    asked();
  });
  follow();
  return { follow };
}
