// A count on a line: range, threshold and mean, as the module number_line draws it for pages; a
// test holds both alike. The words beside it say all of it, so it is hidden from screen readers.

const LINE = { width: 240, height: 28, left: 8, right: 232, middle: 14 };
const LINE_BAR = 8;
const LINE_FLAG = [7, 5];
const LINE_DIGIT = 6;
const LINE_BEYOND = 1.25;
const [LINE_LEAST, LINE_MOST] = [1e-300, 1e300];
const LINE_MARKS = ['below', 'near', 'above'];

// What the browser calls drawings, so that no address stands in the page.
const DRAWING = new DOMParser().parseFromString('<svg></svg>', 'text/html').body.firstChild.namespaceURI;

function svgMade(tag, given, ...children) {
  const made = document.createElementNS(DRAWING, tag);
  for (const [name, value] of Object.entries(given)) {
    made.setAttribute(name, typeof value === 'number' ? tenth(value) : value);
  }
  made.append(...children);
  return made;
}

// To a tenth, which is finer than a screen shows.
function tenth(value) {
  return String(Number(fixed(value, 1)));
}

function svgPath(points, given, closed = false) {
  const drawn = points.map(([x, y]) => `${tenth(x)} ${tenth(y)}`).join('L');
  return svgMade('path', { d: `M${drawn}${closed ? 'Z' : ''}`, ...given });
}

// The right end: a quarter more than the largest number, up to 1, 2 or 5 times a power of ten.
function scaleTop(most) {
  const wanted = LINE_BEYOND * most;
  let step = 1;
  if (wanted < LINE_LEAST) return step;
  while (step * 10 <= wanted) step *= 10;
  while (step > wanted) step /= 10;
  return [1, 2, 5].map((nice) => nice * step).find((top) => top >= wanted) ?? 10 * step;
}

// `mean`, `threshold`, `low` and `high` in one unit, null where there is none; and the answer.
function numberLine({ mean, threshold, low, high, answer }) {
  const drawn = (value) => Number.isFinite(value) && value < LINE_MOST;
  const top = scaleTop(Math.max(0, ...[mean, threshold, low, high].filter(drawn)));
  const place = (value) => LINE.left
    + (LINE.right - LINE.left) * Math.min(Math.max(value / top, 0), 1);
  return svgMade('svg', {
    viewBox: `0 0 ${LINE.width} ${LINE.height}`, class: 'numline', 'aria-hidden': 'true',
  },
  svgPath([[LINE.left, LINE.middle], [LINE.right, LINE.middle]], { class: 'base' }),
  ...(drawn(low) && drawn(high) ? rangeShapes(place(low), place(high)) : []),
  ...(drawn(threshold) ? thresholdShapes(place(threshold), limitText(threshold)) : []),
  ...(drawn(mean) ? [meanShape(place(mean), answer)] : []));
}

function rangeShapes(left, right) {
  const [top, bottom] = [LINE.middle - LINE_BAR / 2, LINE.middle + LINE_BAR / 2];
  return [
    svgMade('rect', { x: left, y: top, width: right - left, height: LINE_BAR, class: 'range' }),
    ...[left, right].map((x) => svgPath([[x, top], [x, bottom]], { class: 'end' })),
  ];
}

function thresholdShapes(x, number) {
  const [wide, high] = LINE_FLAG;
  const start = x + wide + 2;
  const shapes = [
    svgPath([[x, 3], [x, 25]], { class: 'tick' }),
    svgPath([[x, 3], [x + wide, 3 + high / 2], [x, 3 + high]], { class: 'flag' }, true),
  ];
  if (start + LINE_DIGIT * number.length <= LINE.right) {
    const text = svgMade('text', { x: start, y: 8.5, class: 'limit' });
    text.textContent = number;
    shapes.push(text);
  }
  return shapes;
}

// A circle below, a diamond near, two chevrons above, a hollow circle where nothing is decided.
function meanShape(x, answer) {
  const size = 6;
  const [thick, apart] = [size * 3 / 7, size * 5 / 7];
  const chevron = (y) => svgPath([
    [-size, y], [0, y - size], [size, y],
    [size, y + thick], [0, y - size + thick], [-size, y + thick],
  ], {}, true);
  let shapes = [svgMade('circle', { r: 5 })];
  if (answer === 'near') shapes = [svgPath([[0, -size], [size, 0], [0, size], [-size, 0]], {}, true)];
  if (answer === 'above') shapes = [0, apart].map(chevron);
  return svgMade('g', {
    transform: `translate(${fixed(x, 1)} ${LINE.middle})`,
    class: LINE_MARKS.includes(answer) ? answer : 'open',
  }, ...shapes);
}
