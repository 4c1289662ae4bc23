// Says now and then that this tab is open, so that the program ends after its last one; says on the page where it has ended.
const gone = document.getElementById("gone");
let missed = 0;
const ping = async () => {
  let answers = false;
  try { answers = (await fetch("/ping", { cache: "no-store" })).ok; } catch { /* not there */ }
  missed = answers ? 0 : missed + 1;
  const text = missed > 1 ? gone.dataset.words : "";  // once alone may be a moment without breath
  if (gone.textContent !== text) gone.textContent = text;
  if (missed === 1) setTimeout(ping, 3000);
};
ping();
setInterval(ping, 20000);
document.addEventListener("visibilitychange", () => { if (!document.hidden) ping(); });
// After something was done by a form that came back to this page, what came of it has the focus.
if (location.hash === "#heard") document.getElementById("heard")?.focus();
