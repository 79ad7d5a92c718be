// Plants standing, place by place: typed, in the words of the log, and what they say: as the modules
// stands (of the log) and stand (of the counts) have it, but for the range.

const SQ_FT_PER_ACRE = 43560;

// The words of the log, such as "15-inch rows, 17.4 ft: 58, 64 gap 2"; "" where the row width and
// a hoop are missing, or a number is none that the log takes.
function standCount({ length, unit, width = null, hoop = null, counts, gaps = [] }, limits) {
  const within = (value, [least, most]) => value !== null && value >= least && value <= most;
  const plants = counts.every((n) => Number.isInteger(n) && n <= limits.plants);
  if (!counts.length || counts.length > limits.places || !plants || unit !== 'ft') return '';
  if (hoop !== null) {
    return within(hoop, limits.hoop_in) ? `${hoop}-inch hoop: ${counts.join(', ')}` : '';
  }
  if (!within(width, limits.row_width_in) || !within(length, limits.row_ft)) return '';
  const gap = (i) => (gaps[i] ?? null);
  if (counts.some((_, i) => gap(i) !== null && gap(i) > length)) return '';
  const places = counts.map((n, i) => `${n}${gap(i) === null ? '' : ` gap ${gap(i)}`}`);
  return `${width}-inch rows, ${length} ft: ${places.join(', ')}`;
}

// "plants per 10 ft: 62, 58"; "" where none were counted.
function countedStand({ length, unit, counts }) {
  return counts.length ? `plants per ${short(length)} ${unit}: ${counts.join(', ')}` : '';
}

// The value at x on straight lines between points, and of the end beyond one.
function onLines(x, points) {
  const at = points.findIndex(([end]) => x <= end);
  if (at <= 0) return points[at < 0 ? points.length - 1 : 0][1];
  const [[x0, y0], [x1, y1]] = points.slice(at - 1, at + 1);
  return y0 + (y1 - y0) * (x - x0) / (x1 - x0);
}

// Plants an acre, percent of the yield that they keep, and the answer.
function judgeStand({ length, width = null, hoop = null, counts, gaps = [] }, stop, rules) {
  const ground = hoop === null ? length * width / 12 : Math.PI / 4 * (hoop / 12) ** 2;
  const total = counts.reduce((sum, n) => sum + n, 0);
  const plants = total / counts.length * SQ_FT_PER_ACRE / ground;
  const rows = hoop === null ? width : 0;
  const [, full] = rules.full.filter(([least]) => least <= rows).pop();
  const open = hoop === null ? counts.reduce((sum, _, i) => sum + (gaps[i] ?? 0), 0) : 0;
  const even = onLines(plants, [...rules.kept, [full, 100]]);
  const kept = even * (1 - rules.gap_loss * (open ? open / (length * counts.length) : 0));
  const answers = new Set(stop.curves.map(({ planted, replanted, late }) => {
    const short_of = replanted - planted * kept / 100;
    if (kept >= rules.keep || short_of <= 0) return 'keep';
    return late || short_of <= rules.close ? 'look closer' : 'consider adding seed';
  }));
  return { plants, kept, answer: answers.size === 1 ? [...answers][0] : 'look closer' };
}

// What was counted and what it says, in two sentences.
function standSaid(standing, stop, rules) {
  const counted = standCount(standing, rules.stand.limits);
  if (!counted) {
    const missing = standing.unit === 'ft' ? ' With the row width, or a hoop, it has an answer.' : '';
    return (countedStand(standing)
      || `${stop.wanted_sets} or more places, each the same length of row.`) + missing;
  }
  const { plants, kept, answer } = judgeStand(standing, stop, rules.stand);
  return `${counted}. About ${grouped(100 * Math.round(plants / 100))} plants an acre, which keep `
    + `about ${Math.round(kept)} percent of their yield: ${answer}. A rule of thumb: the local `
    + 'guide, seed and label decide.';
}

// Plants at each place; what is typed is kept as it is typed.
function standPart(book, stop, { refresh }) {
  const field = stop.field_id;
  const { rules } = book.data;
  const { limits } = rules.stand;
  const { standing } = book.visit(field);
  const here = standing.counts.length;
  book.placeAt.set(field, here);
  const told = make('p', { id: 'standing-said' });
  const tell = () => {
    told.textContent = standSaid(book.visit(field).standing, stop, rules);
  };
  const change = (what, edit, mark) => {
    book.change(field, what, (visit) => {
      edit(visit.standing);
      visit.left = clockOn(book.data.day) || visit.left;
    }, mark);
    tell();
    refresh();
  };
  const measure = (name, what, label, range, needed = false) => numberBox(
    `stand-${name}`, label, standing[name] ?? null, range, {
      put: (value) => {
        if (value === null && needed) return;
        change(what, (now) => {
          now[name] = value;
        }, `stand-${name}`);
      },
    },
  );
  const plants = numberBox('stand-plants', `Plants at place ${here + 1}`, null,
    [0, limits.plants], {
      whole: true,
      put: (n) => change(`plants at place ${here + 1}`, (now) => {
        now.counts.splice(here, 1, ...(n === null ? [] : [n]));
      }, `place ${here}`),
    });
  const feet = standing.unit === 'ft';
  const gap = numberBox('stand-gap', `Feet in gaps of ${rules.stand.least_gap} or more`,
    null, [0, limits.row_ft[1]], {
      put: (value) => change(`gaps at place ${here + 1}`, (now) => {
        now.gaps = Array.from({ length: here + 1 }, (_, i) => (
          i === here ? value : (now.gaps || [])[i] ?? null));
      }, `gaps ${here}`),
    });
  const part = make('section', { 'aria-labelledby': 'standing-title' },
    make('h3', { id: 'standing-title', text: 'Plants standing' }), told,
    make('div', { class: 'pair' },
      feet ? measure('width', 'row width', 'Row width, inches', limits.row_width_in) : null,
      measure('length', 'length of row', `Row at each place, ${standing.unit}`,
        feet ? limits.row_ft : rules.limits.size, true)),
    make('div', { class: 'pair' }, plants, feet ? gap : null),
    feet ? measure('hoop', 'hoop', 'Or a hoop, inches across; blank for rows', limits.hoop_in) : null);
  tell();
  return part;
}
