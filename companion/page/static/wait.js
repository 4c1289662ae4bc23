// A job under way: looked at again until it is done; then its page, with the focus on what came of it.
const look = async () => {
  try {
    const text = await (await fetch(location.pathname, { cache: "no-store" })).text();
    const found = new DOMParser().parseFromString(text, "text/html");
    if (!found.getElementById("waiting")) { location.hash = "heard"; location.reload(); return; }
    document.getElementById("seconds").textContent = found.getElementById("seconds").textContent;
  } catch { /* looked at again */ }
  setTimeout(look, 700);
};
setTimeout(look, 400);
