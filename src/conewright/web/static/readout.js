// A cursor over a picture: drag, touch or use the arrow keys; the words come from its table.

const SHOWN = 6;

function rowsOf(table) {
  const heads = [...table.tHead.rows[0].cells].slice(1).map((cell) => cell.textContent);
  const rows = [...table.tBodies[0].rows].map((row) => ({
    at: row.cells[0].textContent,
    x: Number(row.cells[0].textContent),
    cells: [...row.cells].slice(1).map((cell) => cell.textContent),
  }));
  return { heads, rows };
}

function panelsOf(figure, image) {
  const narrow = image.currentSrc.includes("narrow=1");
  return JSON.parse(narrow ? figure.dataset.narrow : figure.dataset.wide);
}

// Where a frequency stands across a panel, as a share of it.
function share(panel, x) {
  return Math.log(x / panel.low) / Math.log(panel.high / panel.low);
}

function nearest(rows, x) {
  let best = 0;
  rows.forEach((row, i) => {
    if (Math.abs(Math.log(row.x / x)) < Math.abs(Math.log(rows[best].x / x))) best = i;
  });
  return best;
}

function lines(sheet, panels, x) {
  sheet.querySelectorAll(".cursor").forEach((each) => each.remove());
  for (const panel of panels) {
    const part = share(panel, x);
    if (part < 0 || part > 1) continue;
    const line = document.createElement("div");
    line.className = "cursor";
    line.style.left = `${100 * (panel.left + part * panel.width)}%`;
    line.style.top = `${100 * panel.top}%`;
    line.style.height = `${100 * panel.height}%`;
    sheet.append(line);
  }
}

function words(output, where, heads, row) {
  const parts = heads.slice(0, 2 * SHOWN).map((head, i) => {
    const [name, of] = head.split(" [");
    const span = document.createElement("span");
    const value = document.createElement("b");
    value.textContent = of ? `${row.cells[i]} ${of.replace("]", "")}` : row.cells[i];
    span.append(`${name}: `, value);
    return span;
  });
  const at = document.createElement("b");
  at.textContent = where;
  output.replaceChildren(at, ...parts);
}

function readout(figure) {
  const table = figure.querySelector("table.data");
  const image = figure.querySelector("img");
  const box = figure.querySelector(".readout");
  if (!table || !image || !box) return;
  const { heads, rows } = rowsOf(table);
  const first = table.tHead.rows[0].cells[0].textContent;
  const unit = (first.match(/\[(.*)\]/) || ["", ""])[1];
  if (rows.length < 2 || rows.some((row) => !Number.isFinite(row.x))) return;

  const slider = document.createElement("input");
  slider.type = "range";
  slider.min = "0";
  slider.max = String(rows.length - 1);
  slider.setAttribute("aria-label", "Read the picture at");
  const output = document.createElement("output");
  box.append(slider, output);
  box.hidden = false;

  const sheet = figure.querySelector(".sheet");
  const panels = () => (unit === "Hz" ? panelsOf(figure, image) : []);
  const show = (drawn) => {
    const row = rows[slider.valueAsNumber];
    const at = unit ? `${row.at} ${unit}` : `${first}: ${row.at}`;
    slider.setAttribute("aria-valuetext", at);
    words(output, at, heads, row);
    if (drawn) lines(sheet, panels(), row.x);
  };
  slider.value = String(unit === "Hz" ? nearest(rows, 80) : rows.length - 1);
  slider.addEventListener("input", () => show(true));
  show(false);

  const point = (event) => {
    const area = sheet.getBoundingClientRect();
    const x = (event.clientX - area.left) / area.width;
    const y = (event.clientY - area.top) / area.height;
    const panel = panels().find(
      (each) => x >= each.left && x <= each.left + each.width && y >= each.top - 0.02 && y <= each.top + each.height + 0.02,
    );
    if (!panel) return;
    const at = panel.low * (panel.high / panel.low) ** ((x - panel.left) / panel.width);
    slider.value = String(nearest(rows, at));
    show(true);
  };
  sheet.addEventListener("pointerdown", point);
  sheet.addEventListener("pointermove", (event) => {
    if (event.pointerType === "mouse" || event.buttons) point(event);
  });
}

export function readouts() {
  document.querySelectorAll("figure.picture").forEach(readout);
}
