// A job under way: looked at again until it is done, without telling anything twice.
const look = async () => {
  try {
    const text = await (await fetch(location.href, { cache: "no-store" })).text();
    if (!new DOMParser().parseFromString(text, "text/html").getElementById("waiting")) { location.reload(); return; }
  } catch { /* looked at again */ }
  setTimeout(look, 700);
};
setTimeout(look, 400);
