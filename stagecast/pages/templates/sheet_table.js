// A visit as rows of the log's table, and rows as text: what the module log_csv reads and writes.

// The rows of a visit: one for each count; without counts one.
function visitRows(said, head, rules) {
  const number = (value) => (value === null ? '' : String(value));
  const first = {
    ...head,
    stage: said.stage,
    share_percent: said.stage ? number(said.share) : '',
    defoliation_percent: number(said.defoliation),
    method: countedSetsOf(said).length ? said.method.trim() : '',
    stand_notes: standWords(said, rules),
    notes: said.notes.trim(),
  };
  const stand = standCount(said.standing, rules.stand.limits);
  // A version without one says what it said before there were any.
  if (stand) first.stand_count = stand;
  Object.assign(first, timesOf(said));
  const counts = countedSetsOf(said).flatMap((set, i) => set.counts.map((count) => ({
    set: String(i + 1),
    size: number(set.size),
    of: set.of,
    pest: count.pest,
    life_stage: count.life,
    count: number(count.n),
  })));
  if (!counts.length) return [first];
  // Long texts stand on the first row alone.
  const again = { ...first, stand_notes: '', notes: '' };
  delete again.stand_count;
  return counts.map((count, i) => ({ ...(i ? again : first), ...count }));
}

// When somebody was at the field, as far as it is noted. A visit that ends before it begins is sent
// without its end, since a log takes no such visit.
function timesOf({ arrived, left }) {
  return {
    ...(arrived ? { arrived } : {}),
    ...(left && !(arrived && left < arrived) ? { left } : {}),
  };
}

// The stand in words: plants counted where the log has no other place for them, then what else was
// noted.
function standWords(said, rules) {
  const counted = standCount(said.standing, rules.stand.limits) ? '' : countedStand(said.standing);
  return [counted, said.stand.trim()].filter(Boolean).join('; ');
}

function tableText(rows, columns) {
  const lines = rows.map((row) => columns.map((name) => quoted(row[name] || '')).join(','));
  return `${[columns.join(','), ...lines].join('\n')}\n`;
}

// A cell that no spreadsheet runs as a formula; what a table's reader could split or cut is put
// between quotation marks.
function quoted(text) {
  const number = /^[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]+)?$/;
  const run = /^'*[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]/.test(text) && !number.test(text);
  const cell = run ? `'${text}` : text;
  return /[",;\t\r\n]/.test(cell) ? `"${cell.replaceAll('"', '""')}"` : cell;
}
