// Draws every <figure class="chart"> from the description beside it. Colours stay names of the
// look's tokens, so a chart follows the theme and the printer without being drawn again.
// Without this script, or if it fails, the table beneath says the same.

const text = getComputedStyle(document.documentElement).getPropertyValue("--text").trim();

const options = {
  mode: "vega-lite",
  ast: true, // no code from strings: the site's policy forbids it
  renderer: "svg",
  actions: false,
  defaultStyle: false,
  tooltip: { disableDefaultStyle: true },
};

for (const figure of document.querySelectorAll("figure.chart")) {
  const spec = JSON.parse(document.getElementById(figure.dataset.spec).textContent);
  // The font is measured before it is drawn, so it must be a real name here.
  spec.config.font = text;
  window
    .vegaEmbed(figure.querySelector(".canvas"), spec, options)
    .then(() => figure.classList.add("drawn"))
    .catch(() => figure.classList.add("failed"));
}
