// A field that is dragged onto a day opens the page that says what that comes to. Nothing is moved
// by a slip of the hand, and all of it goes by links and buttons too.

(() => {
  const main = document.getElementById('main');
  let dragged = '';
  const shiftOf = (event) => event.target.closest && event.target.closest('[data-to]');

  // The page renews itself, so whatever stands there is made to be dragged when it is touched.
  main.addEventListener('pointerdown', (event) => {
    const item = event.target.closest('[data-field]');
    if (item && event.pointerType === 'mouse') item.draggable = true;
  });
  main.addEventListener('dragstart', (event) => {
    const item = event.target.closest('[data-field]');
    dragged = item ? item.dataset.field : '';
    if (dragged) event.dataTransfer.setData('text/plain', dragged);
  });
  main.addEventListener('dragover', (event) => {
    const shift = shiftOf(event);
    main.querySelectorAll('.over').forEach((one) => one.classList.toggle('over', one === shift));
    if (!dragged || !shift) return;
    event.preventDefault();
    shift.classList.add('over');
  });
  main.addEventListener('drop', (event) => {
    const shift = shiftOf(event);
    if (!dragged || !shift) return;
    event.preventDefault();
    const asked = new URLSearchParams({ field: dragged, to: shift.dataset.to });
    location.assign(`/board/move?${asked}`);
  });
  main.addEventListener('dragend', () => {
    dragged = '';
    main.querySelectorAll('.over').forEach((one) => one.classList.remove('over'));
  });
})();
