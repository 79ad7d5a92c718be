// A file dropped anywhere on the page is taken as if it had been chosen, and looked at at once.

(() => {
  const take = document.getElementById('take');
  const chosen = document.getElementById('i-table');
  const hasFile = (event) => [...event.dataTransfer.types].includes('Files');

  function over(event, on) {
    if (!hasFile(event)) return;
    event.preventDefault();
    take.classList.toggle('over', on);
  }

  function put(files) {
    chosen.files = files;
    take.requestSubmit();
  }

  const elsewhere = dropped.carried();
  if (elsewhere) {
    const data = new DataTransfer();
    data.items.add(elsewhere);
    put(data.files);
  }

  chosen.addEventListener('change', () => { if (chosen.files.length) take.requestSubmit(); });
  document.addEventListener('dragover', (event) => over(event, true));
  document.addEventListener('dragleave', (event) => over(event, false));
  document.addEventListener('drop', (event) => {
    over(event, false);
    if (!hasFile(event) || !event.dataTransfer.files.length) return;
    put(event.dataTransfer.files);
  });
})();
