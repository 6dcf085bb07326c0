// The follower's photo with marks on it: two ends of a length and two corners of a box. Marks are
// buttons, so that they are moved by pointer and by arrow keys alike; a loupe shows what lies
// under one. Places are in pixels of the picture.
(() => {
  "use strict";

  const LOUPE = 4; // times larger
  const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  const USUAL = [[0.2, 0.9], [0.8, 0.9], [0.05, 0.05], [0.95, 0.95]];

  lapsekit.stage = (stage, changed) => {
    const photo = stage.querySelector(".yours-photo");
    const painted = stage.querySelector(".yours-found");
    const loupe = stage.querySelector(".yours-loupe");
    const [line, box] = stage.querySelector("svg").children;
    const marks = [...stage.querySelectorAll(".yours-mark")].map((button) => ({
      button, x: 0, y: 0, set: false, kind: button.classList.contains("end") ? "ends" : "box",
    }));
    let tapped = "ends";
    let fading = 0;

    const of = (kind) => marks.filter((mark) => mark.kind === kind);
    const perPoint = () => photo.width / photo.getBoundingClientRect().width;

    const show = () => {
      for (const mark of marks) {
        const { button, x, y, set, kind } = mark;
        button.style.left = `${(100 * x) / photo.width}%`;
        button.style.top = `${(100 * y) / photo.height}%`;
        button.classList.toggle("unset", !set);
        button.classList.toggle("idle", !set || kind !== tapped); // taps go to the photo beneath
        button.hidden = kind === "box" && tapped !== "box" && !of("box").every((each) => each.set);
        button.setAttribute("aria-label", set
          ? lapsekit.text("{name}: {across} across, {down} down",
            { name: button.dataset.name, across: Math.round(x), down: Math.round(y) })
          : lapsekit.text("{name}: not set yet", { name: button.dataset.name }));
      }
      const [a, b, c, d] = marks;
      line.toggleAttribute("hidden", !(a.set && b.set));
      box.toggleAttribute("hidden", !(c.set && d.set));
      const at = (x, y) => [`${(100 * x) / photo.width}%`, `${(100 * y) / photo.height}%`];
      [["x1", "y1", a], ["x2", "y2", b]].forEach(([across, down, { x, y }]) => {
        [across, down].forEach((name, k) => line.setAttribute(name, at(x, y)[k]));
      });
      const corner = at(Math.min(c.x, d.x), Math.min(c.y, d.y));
      const sides = at(Math.abs(c.x - d.x), Math.abs(c.y - d.y));
      ["x", "y"].forEach((name, k) => box.setAttribute(name, corner[k]));
      ["width", "height"].forEach((name, k) => box.setAttribute(name, sides[k]));
    };

    const lookAway = () => { loupe.hidden = true; };
    const lookFor = (seconds) => {
      clearTimeout(fading);
      fading = setTimeout(lookAway, 1000 * seconds);
    };

    const look = (mark) => {
      clearTimeout(fading);
      const context = loupe.getContext("2d");
      const across = (loupe.width / LOUPE) * Math.max(1, perPoint());
      context.imageSmoothingEnabled = false;
      context.fillStyle = getComputedStyle(stage).backgroundColor;
      context.fillRect(0, 0, loupe.width, loupe.height);
      context.drawImage(photo, mark.x - across / 2, mark.y - across / 2, across, across,
        0, 0, loupe.width, loupe.height);
      const middle = loupe.width / 2;
      for (const [width, colour] of [[3, "#000"], [1, "#fff"]]) {
        context.lineWidth = width;
        context.strokeStyle = colour;
        context.beginPath();
        for (const [from, to] of [[0, middle - 8], [middle + 8, loupe.width]]) {
          context.moveTo(from, middle);
          context.lineTo(to, middle);
          context.moveTo(middle, from);
          context.lineTo(middle, to);
        }
        context.stroke();
      }
      loupe.classList.toggle("right", mark.x < photo.width / 2);
      loupe.classList.toggle("low", mark.y < photo.height / 2);
      loupe.hidden = false;
    };

    const move = (mark, x, y) => {
      mark.x = Math.min(Math.max(x, 0), photo.width);
      mark.y = Math.min(Math.max(y, 0), photo.height);
      mark.set = true;
      show();
      look(mark);
      changed();
    };

    const placeOf = (event) => {
      const frame = photo.getBoundingClientRect();
      return [(event.clientX - frame.left) * perPoint(), (event.clientY - frame.top) * perPoint()];
    };

    for (const mark of marks) {
      const { button } = mark;
      let held = null;
      button.addEventListener("pointerdown", (event) => {
        const [x, y] = placeOf(event);
        held = [mark.x - x, mark.y - y];
        button.setPointerCapture(event.pointerId);
        look(mark);
      });
      button.addEventListener("pointermove", (event) => {
        if (!held) return;
        const [x, y] = placeOf(event);
        move(mark, x + held[0], y + held[1]);
      });
      for (const name of ["pointerup", "pointercancel"]) {
        button.addEventListener(name, () => {
          held = null;
          lookFor(2);
        });
      }
      button.addEventListener("keydown", (event) => {
        const step = STEPS[event.key];
        if (!step || event.ctrlKey || event.metaKey || event.altKey) return;
        event.preventDefault();
        const far = event.shiftKey ? 10 : 1;
        move(mark, mark.x + far * step[0], mark.y + far * step[1]);
      });
      button.addEventListener("focus", () => look(mark));
      button.addEventListener("blur", lookAway);
    }

    photo.addEventListener("click", (event) => {
      const [x, y] = placeOf(event);
      const pair = of(tapped);
      const away = (mark) => Math.hypot(mark.x - x, mark.y - y);
      const next = pair.find((mark) => !mark.set) || pair.sort((a, b) => away(a) - away(b))[0];
      move(next, x, y);
      next.button.focus({ preventScroll: true });
      lookFor(2);
    });

    return {
      taps(kind) {
        tapped = kind;
        show();
      },
      begin(picture) {
        for (const canvas of [photo, painted]) {
          canvas.width = picture.width;
          canvas.height = picture.height;
        }
        photo.getContext("2d").drawImage(picture, 0, 0);
        // as wide as there is room, but never higher than the screen
        stage.style.maxWidth = `min(52rem, ${(82 * picture.width) / picture.height}vh)`;
        painted.getContext("2d").clearRect(0, 0, painted.width, painted.height);
        marks.forEach((mark, k) => {
          Object.assign(mark, {
            x: USUAL[k][0] * photo.width, y: USUAL[k][1] * photo.height, set: false,
          });
        });
        show();
      },
      // A picture of what was counted, over the photo.
      paint(picture) { painted.getContext("2d").drawImage(picture, 0, 0); },
      showPaint(on) { painted.hidden = !on; },
      forgetBox() {
        of("box").forEach((mark, k) => {
          const [x, y] = USUAL[2 + k];
          Object.assign(mark, { x: x * photo.width, y: y * photo.height, set: false });
        });
        show();
        changed();
      },
      photo,
      perPoint,
      // Distance of the two ends, in pixels; null until both are set.
      get distance() {
        const [a, b] = of("ends");
        return a.set && b.set ? Math.hypot(a.x - b.x, a.y - b.y) : null;
      },
      // Left, top, right, bottom; null until both corners are set.
      get box() {
        const [c, d] = of("box");
        if (!c.set || !d.set) return null;
        const [left, right] = [c.x, d.x].map(Math.round).sort((p, q) => p - q);
        const [top, bottom] = [c.y, d.y].map(Math.round).sort((p, q) => p - q);
        return right > left && bottom > top ? [left, top, right, bottom] : null;
      },
    };
  };
})();
