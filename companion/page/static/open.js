// Says now and then that this tab is open, so that the program ends after its last one.
const ping = () => fetch("/ping", { cache: "no-store" }).catch(() => {});
ping();
setInterval(ping, 20000);
document.addEventListener("visibilitychange", () => { if (!document.hidden) ping(); });
