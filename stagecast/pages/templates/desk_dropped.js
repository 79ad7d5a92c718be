// A sheet that is open beside this page hears which of its visits the log has now.

(() => {
  const ids = JSON.parse(document.getElementById('ids').textContent);
  if (window.BroadcastChannel) new BroadcastChannel('stagecast log').postMessage(ids);
})();
