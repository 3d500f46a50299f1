"use strict";
document.querySelectorAll("table.sortable").forEach(function (table) {
  var heads = Array.from(table.tHead.rows[0].cells);
  heads.forEach(function (head, column) {
    var button = document.createElement("button");
    button.type = "button";
    button.append(...head.childNodes);
    head.append(button);
    button.addEventListener("click", function () {
      var up = head.getAttribute("aria-sort") !== "ascending";
      var numeric = head.classList.contains("n");
      var rows = Array.from(table.tBodies[0].rows);
      rows.sort(function (a, b) {
        var x = a.cells[column].dataset.v, y = b.cells[column].dataset.v;
        if (x === "" || y === "") return (x === "") - (y === "");
        var order = numeric ? x - y : x.localeCompare(y);
        return up ? order : -order;
      });
      table.tBodies[0].append(...rows);
      heads.forEach(function (h) { h.removeAttribute("aria-sort"); });
      head.setAttribute("aria-sort", up ? "ascending" : "descending");
    });
  });
});
