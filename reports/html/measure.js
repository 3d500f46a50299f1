"use strict";
const element = id => document.getElementById(id);
const canvas = element("canvas"), pen = canvas.getContext("2d"), picture = element("picture");
const points = [];
let scale = 1, left = 0, upper = 0, press = null, measured = false;

function draw() {
  canvas.width = canvas.clientWidth;
  canvas.height = canvas.clientHeight;
  if (!picture.naturalWidth) return;
  pen.imageSmoothingEnabled = scale < 2;
  pen.setTransform(scale, 0, 0, scale, -left * scale, -upper * scale);
  pen.drawImage(picture, 0, 0);
  pen.setTransform(1, 0, 0, 1, 0, 0);
  points.forEach((p, i) => {
    const x = (p.x - left) * scale, y = (p.y - upper) * scale;
    pen.strokeStyle = "#fff";
    pen.lineWidth = 3;
    for (const stroke of [0, 1]) {
      if (stroke) { pen.strokeStyle = "#000"; pen.lineWidth = 1; }
      pen.beginPath();
      pen.moveTo(x - 9, y); pen.lineTo(x + 9, y); pen.moveTo(x, y - 9); pen.lineTo(x, y + 9);
      pen.stroke();
    }
    pen.font = "14px sans-serif";
    pen.strokeStyle = "#fff";
    pen.lineWidth = 3;
    pen.strokeText(String(i + 1), x + 8, y - 8);
    pen.fillText(String(i + 1), x + 8, y - 8);
  });
}

function rows() {
  const body = element("rows");
  body.replaceChildren(...points.map((p, i) => {
    const row = document.createElement("tr");
    const cell = child => { const td = document.createElement("td"); td.append(child); row.append(td); };
    const field = (key, label, list) => {
      const input = document.createElement("input");
      input.value = p[key];
      input.setAttribute("aria-label", label + " of point " + (i + 1));
      if (list) input.setAttribute("list", list);
      input.onchange = () => { p[key] = typeof p[key] === "number" ? Number(input.value) : input.value; draw(); };
      cell(input);
    };
    cell(String(i + 1));
    field("x", "x"); field("y", "y"); field("sd", "spread"); field("part", "part", "parts");
    if (measured) field("name", "name", "names"); else cell("");
    const remove = document.createElement("button");
    remove.textContent = "remove";
    remove.setAttribute("aria-label", "remove point " + (i + 1));
    remove.onclick = () => { points.splice(i, 1); rows(); draw(); };
    cell(remove);
    return row;
  }));
}

// csv is the table that weigh reads.
function csv() {
  const quoted = text => /[",\n\r]/.test(text) ? '"' + text.replaceAll('"', '""') + '"' : text;
  return "name_or_id,part,x_px,y_px,sd_px\n" + points.map(p => [quoted(p.name), quoted(p.part), p.x, p.y, p.sd].join(",") + "\n").join("");
}

element("file").onchange = event => {
  const file = event.target.files[0];
  if (!file) return;
  picture.onload = () => {
    scale = canvas.clientWidth / picture.naturalWidth;
    left = upper = 0;
    draw();
  };
  picture.src = URL.createObjectURL(file);
};
canvas.onwheel = event => {
  event.preventDefault();
  const x = left + event.offsetX / scale, y = upper + event.offsetY / scale;
  scale = Math.min(40, Math.max(0.02, scale * Math.exp(-event.deltaY / 400)));
  left = x - event.offsetX / scale;
  upper = y - event.offsetY / scale;
  draw();
};
canvas.onpointerdown = event => { press = { x: event.offsetX, y: event.offsetY, left, upper, moved: false }; };
canvas.onpointermove = event => {
  if (!press || !event.buttons) return;
  const dx = event.offsetX - press.x, dy = event.offsetY - press.y;
  press.moved = press.moved || Math.hypot(dx, dy) > 3;
  if (press.moved) { left = press.left - dx / scale; upper = press.upper - dy / scale; draw(); }
};
// add sets a point where the canvas has a place.
function add(x, y) {
  const round = v => Math.round(v * 100) / 100;
  points.push({ x: round(left + x / scale), y: round(upper + y / scale), sd: 1, part: "top", name: "" });
  rows();
  draw();
}

canvas.onpointerup = event => {
  if (press && !press.moved && picture.naturalWidth) add(event.offsetX, event.offsetY);
  press = null;
};
// Without a pointer: a point in the middle of what is shown, its place to be typed.
element("add").onclick = () => {
  add(canvas.width / 2, canvas.height / 2);
  element("rows").lastElementChild.querySelector("input").select();
};
element("name").onclick = () => {
  measured = true;
  element("names").replaceChildren(...JSON.parse(element("list").textContent).map(name => { const o = document.createElement("option"); o.value = name; return o; }));
  rows();
};
element("save").onclick = () => {
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([csv()], { type: "text/csv" }));
  link.download = "points.csv";
  link.click();
};
window.onresize = draw;
draw();
