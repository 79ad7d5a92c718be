// Days that this phone kept before: each is only ever removed by a person, and only once it was
// sent whole.

const KEY_BEGINS = 'stagecast sheet ';

// Keys of the other days, and what is kept under each.
function otherDays(storage, ownKey) {
  const found = [];
  try {
    for (let i = 0; i < storage.length; i += 1) {
      const key = storage.key(i);
      if (!key.startsWith(KEY_BEGINS) || key === ownKey || key.endsWith(' unread')) continue;
      found.push({ key, state: JSON.parse(storage.getItem(key)) });
    }
  } catch {
    return [];  // what cannot be read is left alone
  }
  return found;
}

// Days all of which was sent.
function sentDays(storage, ownKey) {
  return otherDays(storage, ownKey).filter(({ state }) => state && state.unsent === 0);
}

// Make room: nobody takes back steps of another day.
function forgetSteps(storage, ownKey) {
  for (const { key, state } of otherDays(storage, ownKey)) {
    if (!state || !Array.isArray(state.undo) || !state.undo.length) continue;
    try {
      storage.setItem(key, JSON.stringify({ ...state, undo: [] }));
    } catch {
      return;
    }
  }
}
