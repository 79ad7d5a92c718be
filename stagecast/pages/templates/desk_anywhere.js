// A file dropped on any page of the desk is carried to the page that looks at tables. Over a form
// nothing happens: somebody may be typing into it.

const dropped = (() => {
  const KEPT = 'stagecast dropped';
  const hasFile = (event) => [...event.dataTransfer.types].includes('Files');

  function carry(file) {
    const reader = new FileReader();
    reader.addEventListener('load', () => {
      const [, data] = reader.result.split(',');
      try {
        sessionStorage.setItem(KEPT, JSON.stringify({ name: file.name, data: data || '' }));
      } catch {
        sessionStorage.removeItem(KEPT);  // too large to carry: it is chosen there
      }
      location.assign('/drop');
    });
    reader.readAsDataURL(file);
  }

  // The file that was dropped elsewhere, once.
  function carried() {
    const kept = sessionStorage.getItem(KEPT);
    sessionStorage.removeItem(KEPT);
    if (!kept) return null;
    const { name, data } = JSON.parse(kept);
    const bytes = Uint8Array.from(atob(data), (char) => char.charCodeAt(0));
    return new File([bytes], name, { type: 'text/csv' });
  }

  if (!document.getElementById('take')) {
    document.addEventListener('dragover', (event) => { if (hasFile(event)) event.preventDefault(); });
    document.addEventListener('drop', (event) => {
      if (!hasFile(event) || !event.dataTransfer.files.length) return;
      event.preventDefault();
      if (!document.querySelector('#main form[method=post]')) carry(event.dataTransfer.files[0]);
    });
  }
  return { carried };
})();
