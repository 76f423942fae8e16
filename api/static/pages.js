// Every page works without this script. With it, a page renews itself when something changed, and charts are drawn.
const body = document.body;

function busy(region) {
  if (region.contains(document.activeElement) && document.activeElement !== body) return true;
  if (region.querySelector("details[open]")) return true;
  return [...region.querySelectorAll("input, textarea")].some((field) => field.value !== field.defaultValue);
}

let renewing = false, again = false;
async function renew() {
  if (renewing) { again = true; return; }
  renewing = true;
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" }, redirect: "error" });
    if (!answer.ok) throw new Error(answer.statusText);
    const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
    for (const region of document.querySelectorAll("[data-region]")) {
      const other = fresh.getElementById(region.id);
      if (!other || busy(region) || other.innerHTML === region.innerHTML) continue;
      region.replaceChildren(...other.childNodes);
    }
    drawAll();
    connection(true);
    document.dispatchEvent(new CustomEvent("renewed", { detail: fresh }));
  } catch {
    connection(false);
  } finally {
    renewing = false;
    if (again) { again = false; renew(); }
  }
}

function connection(stands) {
  say(stands ? "Renews itself." : "No connection: what you see may be old.");
  document.dispatchEvent(new CustomEvent("connection", { detail: stands }));
}

function say(words) {
  const line = document.getElementById("line");
  if (line && line.textContent !== words) line.textContent = words;
}

function concerns(ids) {
  const wanted = body.querySelector("[data-about]")?.dataset.about;
  return !wanted || ids.includes(wanted) || ids.includes("*");
}

function listen() {
  const source = new EventSource(body.dataset.live);
  source.addEventListener("open", () => { connection(true); renew(); });
  source.addEventListener("changed", (event) => { if (concerns(JSON.parse(event.data))) renew(); });
  source.addEventListener("error", () => connection(false));
}

let library;
async function draw(place) {
  place.dataset.drawn = "yes";
  try {
    library ??= import("/static/charts.js");
    const [, spec] = await Promise.all([library, fetch(place.dataset.chart).then((answer) => answer.json())]);
    place.hidden = false;
    await window.vegaEmbed(place, spec, {
      ast: true, actions: false, defaultStyle: false, renderer: "svg", tooltip: { disableDefaultStyle: true },
    });
  } catch {
    place.hidden = true;
  }
}

function drawAll() {
  for (const place of document.querySelectorAll("[data-chart]:not([data-drawn])")) draw(place);
}

drawAll();
if (body.dataset.live && "EventSource" in window) listen();
