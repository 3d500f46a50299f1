// The rows of the page's tables: what is in each, which of them the filter lets through, and in what order.
const page = JSON.parse(document.getElementById("page-data").textContent);

page.filter = {text: "", kind: "", verdict: "", case: "", fromKM: NaN, toKM: NaN, view: null};
page.listeners = [];
// tell passes an event on to whoever listens: "filtered", "chosen" or "pointed", the last two with a table and a row, or none.
page.tell = function (event, table, row) {
  for (const listener of page.listeners) listener(event, table, row);
};

function cellText(cell) {
  return Array.isArray(cell) ? cell[0] : cell;
}

// plainCase is a case without how many more tops stand in line.
function plainCase(cell) {
  return cellText(cell).split(";")[0];
}

// cellNumber reads a number as the report writes it; what is none sorts last.
function cellNumber(cell) {
  const text = cellText(cell).replace(/[\u202f\u00a0]/g, "").replace("−", "-");
  const found = text.match(/-?\d+(\.\d+)?/);
  if (!found) return NaN;
  const beyond = text.startsWith("below") ? -1e-3 : text.startsWith("above") ? 1e-3 : 0;
  return parseFloat(found[0]) + beyond;
}

// folded makes letters comparable: no marks, no capitals.
function folded(text) {
  return text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();
}

function columnOf(table, role) {
  return table.columns.find(function (column) { return column.role === role; });
}

for (const table of page.tables) {
  table.count = table.from.length;
  table.order = Array.from({length: table.count}, function (_, row) { return row; });
  table.sort = {column: -1, up: true, numeric: false};
  table.sectionOf = function (row) { return table.lines[row] || 0; };
}

// endsOf lists the features of a row: observer, far top or target, near top where there is one.
function endsOf(table, row) {
  const ends = [page.features[table.from[row]], page.features[table.to[row]]];
  if (table.near.length && table.near[row] >= 0) ends.push(page.features[table.near[row]]);
  return ends;
}

// passing returns a function that tells whether the filter lets a row of the table through.
function passing(table) {
  const f = page.filter, text = folded(f.text.trim());
  const named = page.features.map(function (feature) { return !text || folded(feature.n).includes(text); });
  const distance = columnOf(table, "distance"), verdict = columnOf(table, "verdict"), kase = columnOf(table, "case");
  const far = distance && distance.cells.map(cellNumber);
  return function (row) {
    const from = table.from[row], to = table.to[row], near = table.near.length ? table.near[row] : -1;
    if (!named[from] && !named[to] && !(near >= 0 && named[near])) return false;
    if (f.kind && page.features[to].k !== f.kind && !(near >= 0 && page.features[near].k === f.kind)) return false;
    if (verdict && f.verdict && cellText(verdict.cells[verdict.at[row]]) !== f.verdict) return false;
    if (kase && f.case && plainCase(kase.cells[kase.at[row]]) !== f.case) return false;
    if (distance) {
      const km = far[distance.at[row]];
      if (km < f.fromKM || km > f.toKM) return false;
    }
    return !f.view || f.view(page.features[from]) || f.view(page.features[to]);
  };
}

// arrange applies filter and order to a table.
function arrange(table) {
  const pass = passing(table);
  table.order = [];
  for (let row = 0; row < table.count; row++) if (pass(row)) table.order.push(row);
  if (table.sort.column < 0) return;
  const column = table.columns[table.sort.column], turn = table.sort.up ? 1 : -1;
  const keys = column.cells.map(table.sort.numeric ? cellNumber : function (cell) { return folded(cellText(cell)); });
  const place = new Map();
  if (!table.sort.numeric) {
    Array.from(new Set(keys)).sort(function (a, b) { return a.localeCompare(b); }).forEach(function (key, i) { place.set(key, i); });
  }
  const value = keys.map(function (key) { return table.sort.numeric ? key : place.get(key); });
  table.order.sort(function (a, b) {
    const x = value[column.at[a]], y = value[column.at[b]];
    if (Number.isNaN(x) || Number.isNaN(y)) return Number.isNaN(x) - Number.isNaN(y) || a - b;
    return turn * (x - y) || a - b;
  });
}
