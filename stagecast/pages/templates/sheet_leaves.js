// A whole-plant look: leaf loss place by place, one tap each; the visit has their mean.

function leavesSaid(leaves) {
  if (!leaves.length) return 'Top, middle and bottom leaflets of whole plants, place by place.';
  return `${leaves.map((one) => short(one)).join(', ')} percent: ${short(meanLoss(leaves))} on average.`;
}

// To a tenth, as it is logged.
function meanLoss(leaves) {
  return Number(fixed(sumOf(leaves) / leaves.length, 1));
}

function leavesPart(book, stop, { refresh, redraw, say }) {
  const field = stop.field_id;
  const here = (book.visit(field).leaves || []).length;
  book.placeAt.set(field, here);
  const told = make('p', { id: 'leaves-said' });
  const tell = () => {
    told.textContent = leavesSaid(book.visit(field).leaves || []);
  };
  const put = (share, mark = null) => {
    book.change(field, `leaf loss at place ${here + 1}`, (visit) => {
      const before = (visit.leaves || []).slice(0, here);
      visit.leaves = share === null ? before : [...before, share];
      visit.defoliation = visit.leaves.length ? meanLoss(visit.leaves) : null;
      visit.left = clockOn(book.data.day) || visit.left;
    }, mark);
  };
  const tapped = (share) => {
    if (tooSoon(book)) return;
    put(share);
    redraw('leaves-title');
    say(`Place ${here + 1}: ${share} percent`);
  };
  const part = make('section', { 'aria-labelledby': 'leaves-title' },
    make('h3', {
      id: 'leaves-title', tabindex: '-1',
      text: `Leaf loss, place ${here + 1} of ${Math.max(stop.wanted_sets, here + 1)}`,
    }),
    told,
    shareButtons(`Leaf loss at place ${here + 1}`, 'place', null, tapped),
    numberBox('leaf-typed', 'Another percent at this place', null, [0, 100], {
      put: (value) => {
        put(value, `leaves ${here}`);
        tell();
        refresh();
      },
    }));
  tell();
  return part;
}
