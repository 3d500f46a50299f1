// The tables on the page: a window of rows at a time, buttons that sort, and the filter.
(function () {
  const windowRows = 100;
  const byID = new Map(page.tables.map(function (table) { return [table.id, table]; }));

  function element(name, props, ...children) {
    const e = Object.assign(document.createElement(name), props || {});
    e.append(...children);
    return e;
  }

  function nameElement(name) {
    const letters = Array.from(name);
    const bdi = element("bdi", {}, letters.length > page.nameLetters ? letters.slice(0, page.nameLetters - 1).join("") + "…" : name);
    if (letters.length > page.nameLetters) bdi.title = name;
    return bdi;
  }

  function content(column, cell) {
    if (column.role === "name" || column.role === "head") return nameElement(cellText(cell));
    if (Array.isArray(cell)) return element("span", {className: "none", title: cell[1]}, cell[0]);
    return document.createTextNode(cell);
  }

  function rowElement(table, row) {
    const tr = element("tr");
    tr.dataset.row = row;
    table.columns.forEach(function (column, c) {
      let inside = content(column, column.cells[column.at[row]]);
      if (c === 0 && page.box) {
        inside = element("button", {type: "button", className: "show"}, inside);
        inside.setAttribute("aria-label", inside.textContent + ": show on the map, from " + endsOf(table, row).slice(0, 2).map(function (f) { return f.n; }).join(" to "));
      }
      if (column.role === "head" && table.sectionOf(row)) inside = element("a", {href: "#line-" + table.sectionOf(row)}, inside);
      const cell = element(column.role === "head" ? "th" : "td", {}, inside);
      if (column.role === "head") cell.scope = "row";
      if (table.heads[c].classList.contains("n")) cell.className = "n";
      tr.append(cell);
    });
    return tr;
  }

  function show(table) {
    const last = Math.max(0, Math.ceil(table.order.length / windowRows) - 1);
    table.window = Math.min(Math.max(table.window, 0), last);
    const first = table.window * windowRows, rows = table.order.slice(first, first + windowRows);
    table.body.replaceChildren(...rows.map(function (row) { return rowElement(table, row); }));
    table.pager.hidden = table.count <= windowRows;
    table.where.textContent = rows.length ? "Rows " + (first + 1) + "–" + (first + rows.length) + " of " + table.order.length : "No row";
    if (table.order.length < table.count) table.where.textContent += " (filtered from " + table.count + ")";
    table.earlier.disabled = table.window === 0;
    table.later.disabled = table.window === last;
    mark(table);
  }

  function mark(table) {
    for (const tr of table.body.rows) {
      const row = Number(tr.dataset.row), chosen = page.chosen && page.chosen.table === table && page.chosen.row === row;
      tr.classList.toggle("chosen", Boolean(chosen));
      tr.classList.toggle("pointed", Boolean(page.pointed && page.pointed.table === table && page.pointed.row === row));
      if (chosen) tr.setAttribute("aria-current", "true"); else tr.removeAttribute("aria-current");
    }
  }

  function sortable(table) {
    table.heads.forEach(function (head, c) {
      const button = element("button", {type: "button"}, ...head.childNodes);
      head.append(button);
      button.addEventListener("click", function () {
        const up = head.getAttribute("aria-sort") !== "ascending";
        table.heads.forEach(function (h) { h.removeAttribute("aria-sort"); });
        head.setAttribute("aria-sort", up ? "ascending" : "descending");
        table.sort = {column: c, up: up, numeric: head.classList.contains("n")};
        table.window = 0;
        arrange(table);
        show(table);
        page.tell("filtered");
      });
    });
  }

  function pager(table) {
    table.earlier = element("button", {type: "button"}, "Earlier rows");
    table.later = element("button", {type: "button"}, "Later rows");
    table.where = element("span");
    table.where.setAttribute("role", "status");
    table.pager = element("p", {className: "pager"}, table.earlier, " ", table.later);
    table.element.parentElement.after(element("p", {className: "note where"}, table.where), table.pager);
    [[table.earlier, -1], [table.later, 1]].forEach(function ([button, step]) {
      button.addEventListener("click", function () {
        table.window += step;
        show(table);
        table.element.scrollIntoView({block: "start"});
      });
    });
  }

  // rowAt finds the row that an event happened on.
  function rowAt(event) {
    const tr = event.target.closest("tbody tr");
    return tr && {table: byID.get(tr.closest("table").dataset.table), row: Number(tr.dataset.row)};
  }

  for (const table of page.tables) {
    table.element = document.querySelector('table[data-table="' + table.id + '"]');
    table.body = table.element.tBodies[0];
    table.heads = Array.from(table.element.tHead.rows[0].cells);
    table.window = 0;
    sortable(table);
    pager(table);
    show(table);
    table.body.addEventListener("click", function (event) {
      const at = rowAt(event);
      if (at && !event.target.closest("a")) page.choose(at.table, at.row);
    });
    table.body.addEventListener("mouseover", function (event) {
      const at = rowAt(event);
      page.point(at && at.table, at && at.row);
    });
    table.body.addEventListener("mouseleave", function () { page.point(); });
  }

  page.choose = function (table, row) {
    page.chosen = table ? {table: table, row: row} : null;
    if (table) {
      const at = table.order.indexOf(row);
      if (at >= 0 && Math.floor(at / windowRows) !== table.window) {
        table.window = Math.floor(at / windowRows);
        show(table);
      }
    }
    page.tables.forEach(mark);
    page.tell("chosen", table, row);
  };
  page.point = function (table, row) {
    page.pointed = table ? {table: table, row: row} : null;
    page.tables.forEach(mark);
    page.tell("pointed", table, row);
  };

  // The filter.
  const form = document.getElementById("filter");
  const field = function (name) { return form.querySelector('[data-filter="' + name + '"]'); };
  const options = function (select, values) {
    Array.from(new Set(values)).filter(Boolean).sort().forEach(function (value) { select.append(element("option", {value: value}, value)); });
    select.parentElement.hidden = select.options.length < 3;
  };
  const cellsOf = function (role) {
    return page.tables.flatMap(function (table) {
      const column = columnOf(table, role);
      return column ? column.cells.map(plainCase) : [];
    });
  };
  options(field("kind"), page.features.map(function (f) { return f.k; }));
  options(field("verdict"), cellsOf("verdict"));
  options(field("case"), cellsOf("case"));
  field("view").parentElement.hidden = !page.box;

  page.refilter = function () {
    const f = page.filter;
    f.text = field("text").value;
    f.kind = field("kind").value;
    f.verdict = field("verdict").value;
    f.case = field("case").value;
    f.fromKM = parseFloat(field("from").value);
    f.toKM = parseFloat(field("to").value);
    f.view = field("view").checked && page.inView ? page.inView() : null;
    const said = page.tables.map(function (table) {
      table.window = 0;
      arrange(table);
      show(table);
      return table.order.length + " of " + table.count + " " + {alignments: "alignments", sightlines: "sightlines", undecided: "undecided lines"}[table.id];
    });
    document.getElementById("filtered").textContent = said.join(", ") + ".";
    page.tell("filtered");
  };
  form.addEventListener("input", page.refilter);
  document.getElementById("unfilter").addEventListener("click", function () {
    form.querySelectorAll("input, select").forEach(function (input) { input.value = ""; input.checked = false; });
    page.refilter();
  });
  page.filterText = function (text) {
    field("text").value = text;
    page.refilter();
  };
  page.filtersView = function () { return field("view").checked; };
  if (page.tables.length) form.hidden = false;
  document.documentElement.classList.add("scripted");
})();
