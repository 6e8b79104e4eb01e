"use strict";
// Reads a map off where one points: between four nodes in proportion, at an edge from the nearest.
for (const figure of document.querySelectorAll("figure.map")) {
  const numbers = (name) => figure.dataset[name].split(" ").map(Number);
  const data = JSON.parse(document.getElementById("reading-" + figure.dataset.reading).textContent);
  const [left, top, right, bottom] = numbers("frame");
  const [low, high] = [numbers("low"), numbers("high")];
  const svg = figure.querySelector("svg");
  const said = figure.querySelector(".read-out");
  const asked = said.textContent;

  const value = (values, x, y) => {
    const rows = values.length / data.columns;
    const i = (x - data.low[0]) / data.step[0], j = (y - data.low[1]) / data.step[1];
    const at = (a, b) =>
      a < 0 || b < 0 || a >= data.columns || b >= rows ? null : values[b * data.columns + a];
    const [a, b] = [Math.floor(i), Math.floor(j)], [s, t] = [i - a, j - b];
    const four = [at(a, b), at(a + 1, b), at(a, b + 1), at(a + 1, b + 1)];
    if (four.every((one) => one !== null)) {
      return (1 - t) * ((1 - s) * four[0] + s * four[1]) + t * ((1 - s) * four[2] + s * four[3]);
    }
    return at(Math.round(i), Math.round(j));
  };

  const read = (event) => {
    const box = svg.getBoundingClientRect();
    const across = ((event.clientX - box.left) / box.width - left) / (right - left);
    const down = ((event.clientY - box.top) / box.height - top) / (bottom - top);
    if (across < 0 || across > 1 || down < 0 || down > 1) {
      said.textContent = asked;
      return;
    }
    const x = low[0] + across * (high[0] - low[0]), y = high[1] - down * (high[1] - low[1]);
    const plan = (one) => (one / data.plan.unit).toFixed(2);
    const parts = [`x ${plan(x)}, y ${plan(y)} ${data.plan.name}`];
    for (const { name, values } of data.quantities) {
      const found = value(values, x, y);
      const shown = found === null
        ? "not measured"
        : `${(found / data.height.unit).toFixed(data.height.digits).replace(/^-(0\.0*)$/, "$1")} ${data.height.name}`;
      parts.push(`${name} ${shown}`);
    }
    said.textContent = parts.join(" · ");
  };
  svg.addEventListener("pointermove", read);
  svg.addEventListener("pointerdown", read);
}
