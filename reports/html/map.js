// The interactive map: the ground of the still figure under lines and tops that Leaflet draws.
(function () {
  const place = document.getElementById("map-view"), words = document.getElementById("chosen");
  const mostLines = 60;

  // chooseByAddress chooses the row whose section the address names: report.html#line-3.
  function chooseByAddress() {
    const found = location.hash.match(/^#line-(\d+)$/);
    if (!found) return;
    for (const table of page.tables) {
      const row = table.lines.indexOf(Number(found[1]));
      if (row >= 0) return page.choose(table, row);
    }
  }

  // inWords tells the chosen row, with links to its section and to itself.
  function inWords(table, row) {
    words.hidden = !table;
    if (!table) return;
    const parts = [];
    const name = function (f) {
      const bdi = document.createElement("bdi");
      bdi.textContent = f.n;
      return bdi;
    };
    const [from, to, near] = endsOf(table, row);
    parts.push("From ", name(from), " to ", name(to));
    if (near) parts.push(", over ", name(near));
    const said = ["distance", "verdict", "case"].map(function (role) {
      const column = columnOf(table, role);
      return column ? cellText(column.cells[column.at[row]]) + (role === "distance" ? " km" : "") : "";
    });
    parts.push(": " + said.filter(Boolean).join(", ") + ". ");
    const link = function (href, text) {
      const a = document.createElement("a");
      a.href = href;
      a.textContent = text;
      return a;
    };
    if (table.sectionOf(row)) parts.push(link("#line-" + table.sectionOf(row), "Its section"), " · ");
    parts.push(link("#" + table.id, "its table"));
    words.replaceChildren(...parts);
  }
  page.listeners.push(function (event, table, row) {
    if (event === "chosen") inWords(table, row);
  });

  if (page.box) start();
  chooseByAddress();
  addEventListener("hashchange", chooseByAddress);

  function start() {
    const [west, south, east, north] = page.box, middle = (west + east) / 2;
    place.hidden = false;
    // at brings a place to the turn of longitude that the map has it in.
    const at = function (f) { return [f.y, f.x + 360 * Math.round((middle - f.x) / 360)]; };
    const coarse = matchMedia("(pointer: coarse)").matches;
    // A wheel or a finger that passes over the map scrolls the page until the map is used.
    const map = L.map(place, {attributionControl: false, zoomSnap: 0.25, scrollWheelZoom: false, dragging: !coarse, zoomAnimation: false,
      fadeAnimation: false, markerZoomAnimation: false, inertia: false, worldCopyJump: false, maxZoom: 16});
    map.on("focus", function () { map.scrollWheelZoom.enable(); });
    map.on("blur", function () { map.scrollWheelZoom.disable(); });
    const bounds = L.latLngBounds([south, west], [north, east]);
    const first = page.tables.filter(function (table) { return table.id !== "undecided"; }).flatMap(function (table) {
      return Array.from({length: Math.min(table.count, mostLines)}, function (_, row) { return endsOf(table, row).slice(0, 2); }).flat();
    });
    map.fitBounds(first.length ? L.latLngBounds(first.map(at)).pad(0.05) : bounds, {animate: false});
    map.setMinZoom(map.getZoom() - 2);

    const still = document.querySelector(".map-figure");
    const ground = document.createElementNS("http://www.w3.org/2000/svg", "svg");
    ground.setAttribute("viewBox", still.getAttribute("viewBox"));
    ground.setAttribute("preserveAspectRatio", "none");
    ground.setAttribute("aria-hidden", "true");
    ground.append(still.querySelector(".map-ground").cloneNode(true));
    map.createPane("ground").style.zIndex = 200;
    L.svgOverlay(ground, bounds, {pane: "ground"}).addTo(map);
    L.control.scale({imperial: false}).addTo(map);

    // geodesic returns points along the great circle; from the geodesic on the ellipsoid it departs less than a line is wide.
    function geodesic(a, b) {
      const rad = Math.PI / 180, unit = function (f) {
        return [Math.cos(f.y * rad) * Math.cos(f.x * rad), Math.cos(f.y * rad) * Math.sin(f.x * rad), Math.sin(f.y * rad)];
      };
      const u = unit(a), v = unit(b), pieces = 16, points = [];
      let before = at(a)[1];
      for (let i = 0; i <= pieces; i++) {
        // On a line of less than some thousand kilometres equal parts of the chord are near enough equal parts of the arc.
        const p = u.map(function (c, k) { return c + (v[k] - c) * i / pieces; });
        let lon = Math.atan2(p[1], p[0]) / rad;
        lon += 360 * Math.round((before - lon) / 360);
        before = lon;
        points.push([Math.atan2(p[2], Math.hypot(p[0], p[1])) / rad, lon]);
      }
      return points;
    }

    function nameLabel(f) {
      const bdi = document.createElement("bdi"), letters = Array.from(f.n);
      bdi.textContent = letters.length > 40 ? letters.slice(0, 39).join("") + "…" : f.n;
      return bdi;
    }

    function label(table, row) {
      const box = document.createElement("span"), ends = endsOf(table, row), km = columnOf(table, "distance");
      box.append(nameLabel(ends[0]), " to ", nameLabel(ends[1]), ", " + cellText(km.cells[km.at[row]]) + " km");
      return box;
    }

    const lines = L.layerGroup().addTo(map), tops = L.layerGroup().addTo(map), marked = L.layerGroup().addTo(map);
    const sightlines = page.tables.find(function (table) { return table.id === "sightlines"; });

    function verdictOf(table, row) {
      const column = columnOf(table, "verdict");
      return column ? cellText(column.cells[column.at[row]]) : table.id === "undecided" ? "undecided" : "direct";
    }

    function draw() {
      lines.clearLayers();
      tops.clearLayers();
      if (!sightlines) return;
      const ends = new Map();
      sightlines.order.slice(0, mostLines).reverse().forEach(function (row) {
        const points = geodesic(page.features[sightlines.from[row]], page.features[sightlines.to[row]]);
        L.polyline(points, {className: "map-line map-" + verdictOf(sightlines, row), interactive: false}).addTo(lines);
        // What is easy to hit is broader than what is seen.
        L.polyline(points, {className: "map-hit", weight: 14}).addTo(lines)
          .bindTooltip(function () { return label(sightlines, row); }, {sticky: true})
          .on("mouseover", function () { page.point(sightlines, row); })
          .on("mouseout", function () { page.point(); })
          .on("click", function () { page.choose(sightlines, row); });
        ends.set(sightlines.to[row], "map-target");
      });
      sightlines.order.slice(0, mostLines).forEach(function (row) { ends.set(sightlines.from[row], "map-observer"); });
      ends.forEach(function (className, index) {
        const f = page.features[index];
        L.circleMarker(at(f), {className: className, radius: 5}).addTo(tops)
          .bindTooltip(function () { return nameLabel(f); })
          .on("click", function () { page.filterText(f.n); });
      });
    }

    function markRow(row, className, named) {
      if (!row) return;
      const ends = endsOf(row.table, row.row);
      L.polyline(geodesic(ends[0], ends[1]), {className: "map-line map-" + verdictOf(row.table, row.row) + " " + className, interactive: false}).addTo(marked);
      ends.forEach(function (f, i) {
        const top = L.circleMarker(at(f), {className: i === 0 ? "map-observer" : "map-target", radius: named ? 7 : 6, interactive: false}).addTo(marked);
        if (named) top.bindTooltip(nameLabel(f), {permanent: true, direction: "auto"});
      });
    }

    function mark() {
      marked.clearLayers();
      markRow(page.pointed, "map-pointed", false);
      markRow(page.chosen, "map-chosen", true);
    }

    page.inView = function () {
      const view = map.getBounds();
      return function (f) { return view.contains(at(f)); };
    };
    map.on("moveend", function () {
      if (page.filtersView()) page.refilter();
    });
    page.listeners.push(function (event, table, row) {
      if (event === "filtered") draw();
      if (event === "chosen" && table) {
        const span = L.latLngBounds(endsOf(table, row).map(at));
        if (!map.getBounds().contains(span)) map.fitBounds(span.pad(0.2), {animate: false});
      }
      mark();
    });
    draw();
  }
})();
