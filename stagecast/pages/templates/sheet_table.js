// A visit as rows of the log's table, and rows as text: what the module log_csv reads and writes.

// The rows of a visit: one for each count; without counts one.
function visitRows(said, head) {
  const number = (value) => (value === null ? '' : String(value));
  const first = {
    ...head,
    stage: said.stage,
    share_percent: said.stage ? number(said.share) : '',
    defoliation_percent: number(said.defoliation),
    method: countedSetsOf(said).length ? said.method.trim() : '',
    stand_notes: standWords(said),
    notes: said.notes.trim(),
  };
  const counts = said.sets.flatMap((set, i) => set.counts.map((count) => ({
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
  return counts.map((count, i) => ({ ...(i ? again : first), ...count }));
}

// "plants per 10 ft: 62, 58"; "" where none were counted.
function countedStand({ length, unit, counts }) {
  return counts.length ? `plants per ${short(length)} ${unit}: ${counts.join(', ')}` : '';
}

// The stand in words: plants counted in lengths of row, then what else was noted.
function standWords(said) {
  return [countedStand(said.standing), said.stand.trim()].filter(Boolean).join('; ');
}

function tableText(rows, columns) {
  const lines = rows.map((row) => columns.map((name) => quoted(row[name] || '')).join(','));
  return `${[columns.join(','), ...lines].join('\n')}\n`;
}

// A cell; what a table's reader could split or cut is put between quotation marks.
function quoted(text) {
  return /[",;\t\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
