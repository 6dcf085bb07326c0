// Holds a follower's plant against the grower's, all in this browser: the photo is given to a
// worker on this device, and nothing is sent or kept.
(() => {
  "use strict";

  const TAP_POINTS = 1.5; // how far off a mark may be, in points of the screen
  const OUTLINE = 0.5; // how far off the outline may be, in pixels of the measured picture
  const SHOWN_PX = 1600; // long side of a photo that is shown without being measured

  const root = document.getElementById("yours");
  const get = (selector) => root.querySelector(selector);
  const { text, number, said } = lapsekit;
  const { begun, ask, amiss } = lapsekit.measuring;
  const say = (selector, words) => {
    const element = get(selector);
    if (element.textContent !== words) element.textContent = words;
    return element;
  };

  const problem = (word) => {
    const place = get(".yours-problem");
    place.hidden = !word;
    place.textContent = word ? lapsekit.measuring.problem(word) : "";
  };

  let photo = null; // the photo as it is shown: {picture, width, height, measured}
  let area = null; // what the worker counted: {pixels, outline} of which box
  let card = null; // what the card is drawn from
  let dated = false; // whether the follower has filled in the photo's day
  let turn = 0; // photos so far; answers about an earlier one are dropped
  const stage = lapsekit.stage(get(".yours-stage"), () => update());

  // --- what is known ----------------------------------------------------------------------------

  const age = () => {
    const [sown, taken] = ["#yours-sown", "#yours-taken"].map((id) => get(id).value);
    return sown && taken ? lapsekit.age(taken, sown) : null;
  };

  const length = () => {
    const found = Number.parseFloat(get("#yours-length").value.replace(",", "."));
    return found > 0 && Number.isFinite(found) ? found : null;
  };

  // cm in a pixel: the likeliest, and the least and the most by how the ends were marked.
  const scale = () => {
    const [distance, cm] = [stage.distance, length()];
    if (distance === null || cm === null) return null;
    const off = 2 * TAP_POINTS * Math.max(1, stage.perPoint());
    if (distance < 4 * off) return { tooNear: true };
    return { usual: cm / distance, least: cm / (distance + off), most: cm / (distance - off) };
  };

  // The area in cm² with its interval; null while something is missing.
  const areaInCm = () => {
    const per = scale();
    if (!photo.measured || !area || !per || per.tooNear) return null;
    const rim = OUTLINE * area.outline;
    return {
      value: area.pixels * per.usual ** 2,
      low: Math.max(0, area.pixels - rim) * per.least ** 2,
      high: (area.pixels + rim) * per.most ** 2,
    };
  };

  // --- what is shown ----------------------------------------------------------------------------

  // The part of the photo that is held beside ours: the box, or what leaf there is, or all.
  const part = () => stage.box || (photo.measured && photo.measured.leafBox)
    || [0, 0, photo.width, photo.height];

  // cm in a pixel of the photo and in one of the reference view; null unless both are known, and
  // where our picture is of another shape than that view.
  const cmPerPixel = (ours) => {
    const per = scale();
    if (!per || per.tooNear || !ours.camera.cm_per_px || !ours.camera.width) return null;
    return lapsekit.pair.isToScale(ours) === false ? null : [per.usual, ours.camera.cm_per_px];
  };

  const scaleText = (ours, cm, across) => {
    if (ours && ours.day && lapsekit.pair.isToScale(ours) === false) {
      return text("Not at one scale: our picture of that day is of another shape than the view that our scale is of.");
    }
    if (!cm) return text("Not at one scale yet: each is as large as fits.");
    if (!lapsekit.pair.isToScale(ours)) return ""; // it is loading still
    return text("Both at one scale: each square is {cm} cm wide.", { cm: number(across * cm[0], 1) });
  };

  let pairShown = "";
  const showPair = (ours, days) => {
    const [theirPanel, ourPanel] = root.querySelectorAll(".yours-panel");
    const side = theirPanel.clientWidth;
    const box = part();
    const known = ours && ours.day;
    const cm = known ? cmPerPixel(ours) : null;
    const form = known ? lapsekit.pair.formOf(ours) : [1, 1];
    const scales = (across) =>
      lapsekit.pair.scales(across, [box[2] - box[0], box[3] - box[1]], form, cm);
    const words = said.captions(ours, days);
    root.querySelectorAll(".yours-pair figcaption").forEach((place, k) => {
      place.textContent = words[k];
    });
    say(".yours-one-scale", scaleText(ours, cm, side / scales(side)[0]));
    const isLoaded = known && lapsekit.pair.isToScale(ours) !== null;
    get("#yours-save").disabled = !isLoaded || lapsekit.fromFolder;
    const state = JSON.stringify([turn, side, box, scales(side), known && [ours.name, ours.day]]);
    if (state !== pairShown) {
      pairShown = state;
      const [theirScale, ourScale] = scales(side);
      lapsekit.pair.drawTheirs(theirPanel, stage.photo, box, side, theirScale);
      if (known) lapsekit.pair.drawOurs(ourPanel, ours, side, ourScale, update);
      else ourPanel.replaceChildren();
    }
    card = known ? { ours, box, scales, words } : null;
  };

  // What the worker counts; asked for again when the box or the photo is another, or when it failed.
  let counted = "";
  let uncounted = false; // whether the page says that counting failed
  const count = async () => {
    const of = photo;
    const box = stage.box || [0, 0, photo.measured.width, photo.measured.height];
    const which = JSON.stringify([turn, box]);
    if (which === counted) return;
    counted = which;
    try {
      const found = await ask({ what: "area", box });
      if (which !== counted || of !== photo) return;
      area = found;
      if (uncounted) problem(null);
      uncounted = false;
    } catch (error) {
      if (which !== counted || of !== photo) return;
      [counted, area, uncounted] = ["", null, true];
      problem(error.word || "failed");
    }
    tell();
  };

  const tell = () => {
    const days = age();
    const ours = days !== null && days >= 0 ? lapsekit.ours.at(get("#yours-region").value, days) : null;
    say(".yours-age", said.ages(ours, days));
    if (!photo) return;
    const found = areaInCm();
    say(".yours-scale", said.scale(scale()));
    const words = photo.measured ? said.verdict(ours, days, found) : "";
    say(".yours-verdict", words);
    say(".yours-measured", photo.measured ? said.measured(photo.measured) : "");
    get("#yours-no-box").hidden = !stage.box;
    showPair(ours, days);
    const place = get(".yours-curve");
    if (ours && ours.curve) {
      const dot = found && days >= 0 && ours.unit === "cm²" ? { age: days, area: found } : null;
      lapsekit.drawCurve(place, ours.curve, dot, words || text("The curve of {title}", { title: ours.title }));
    } else place.replaceChildren();
  };

  let drawn = 0;
  const update = () => {
    cancelAnimationFrame(drawn);
    drawn = requestAnimationFrame(() => {
      tell();
      if (photo && photo.measured) count();
    });
  };

  // --- a photo ----------------------------------------------------------------------------------

  const showPhoto = (picture, measured) => {
    photo = { width: picture.width, height: picture.height, measured };
    area = null;
    stage.begin(picture);
    picture.close();
    for (const step of root.querySelectorAll("[data-needs]")) step.hidden = false;
    for (const element of root.querySelectorAll("#yours-show-found, .yours-found")) {
      element.closest("label, canvas").hidden = !measured;
    }
    if (measured) {
      stage.paint(measured.painted);
      measured.painted.close();
      stage.showPaint(get("#yours-show-found").checked);
    }
  };

  // A photo that is shown, but not measured.
  const plain = async (file) => {
    const whole = await createImageBitmap(file).catch(() => {
      throw amiss("not a picture");
    });
    const by = Math.min(1, SHOWN_PX / Math.max(whole.width, whole.height));
    if (by === 1) return whole;
    const size = [whole.width, whole.height].map((side) => Math.round(side * by));
    const small = await createImageBitmap(whole, { resizeWidth: size[0], resizeHeight: size[1], resizeQuality: "high" });
    whole.close();
    return small;
  };

  const looksLike = new Set(["not a picture", "heic", "too large", "failed"]);
  const take = async (file) => {
    const mine = (turn += 1);
    problem(null);
    uncounted = false;
    const name = said.apart(file.name);
    say(".yours-status", text("Looking at {name} …", { name }));
    if (!dated) {
      const day = await lapsekit.dayTaken(file).catch(() => null);
      if (mine !== turn) return;
      get("#yours-taken").value = day || dayOf(new Date(file.lastModified || Date.now()));
      say(".yours-dated", day
        ? text("as the camera wrote into it")
        : text("the date of the file: please check it"));
    }
    try {
      await begun(root.dataset.rule);
      const measured = await ask({ what: "measure", picture: file });
      if (mine !== turn) return;
      showPhoto(measured.preview, measured);
      say(".yours-status", text("{name} was measured.", { name }));
    } catch (error) {
      if (mine !== turn) return;
      problem(error.word || "failed");
      say(".yours-status", "");
      if (looksLike.has(error.word)) return;
      try {
        showPhoto(await plain(file), null);
      } catch {
        problem("not a picture");
        return;
      }
    }
    update();
  };

  const dayOf = (date) => {
    const two = (n) => String(n).padStart(2, "0");
    return `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
  };

  // --- the card ---------------------------------------------------------------------------------

  const cardFile = async () => {
    const days = age();
    const shown = { photo: stage.photo, box: card.box };
    const blob = await lapsekit.card({
      title: lapsekit.season.title,
      age: days !== null ? text("day {age}", { age: days }) : "",
      theirs: shown,
      ours: { ...card.ours, image: get(".yours-panel[data-of=ours] img") },
      scales: card.scales(lapsekit.card.side),
      captions: card.words,
      words: get(".yours-verdict").textContent,
      scale: `${get(".yours-one-scale").textContent} ${text("Measured in the browser; photos differ.")}`,
    });
    return new File([blob], text("plants-day-{age}.png", { age: days ?? 0 }), { type: "image/png" });
  };

  const save = async () => {
    const file = await cardFile();
    const link = document.createElement("a");
    link.href = URL.createObjectURL(file);
    link.download = file.name;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 1000);
    say(".yours-card-said", text("The card was saved as {name}.", { name: file.name }));
  };

  const share = async () => {
    const file = await cardFile();
    await navigator.share({ files: [file], title: lapsekit.season.title });
  };

  const card_ = (run) => () => run().catch((error) => {
    if (error.name !== "AbortError") say(".yours-card-said", text("The card could not be made."));
  });

  // --- the page ---------------------------------------------------------------------------------

  const fillChoices = () => {
    const { plants, groups } = lapsekit.ours.choices();
    const select = get("#yours-region");
    const options = (list) => list.map(({ name, title }) => new Option(title, name));
    if (!groups.length) {
      select.replaceChildren(...options(plants));
      return;
    }
    const parts = [[text("Plants by themselves"), plants], [text("Means of groups"), groups]];
    select.replaceChildren(...parts.map(([label, list]) => {
      const group = document.createElement("optgroup");
      group.label = label;
      group.append(...options(list));
      return group;
    }));
  };

  const listen = () => {
    const input = get("#yours-file");
    const drop = get(".yours-drop");
    input.addEventListener("change", () => input.files[0] && take(input.files[0]));
    for (const name of ["dragover", "dragleave", "drop"]) {
      drop.addEventListener(name, (event) => {
        event.preventDefault();
        drop.classList.toggle("over", name === "dragover");
        if (name === "drop" && event.dataTransfer.files[0]) take(event.dataTransfer.files[0]);
      });
    }
    for (const id of ["#yours-sown", "#yours-taken", "#yours-region", "#yours-length"]) {
      get(id).addEventListener("input", () => update());
    }
    get("#yours-taken").addEventListener("input", () => {
      dated = true;
      say(".yours-dated", "");
    });
    for (const radio of root.querySelectorAll("[name=yours-tap]")) {
      radio.addEventListener("change", () => stage.taps(radio.value));
    }
    get("#yours-show-found").addEventListener("change", (event) => stage.showPaint(event.target.checked));
    get("#yours-no-box").addEventListener("click", () => {
      stage.forgetBox();
      get("#yours-show-found").focus();
    });
    get("#yours-save").addEventListener("click", card_(save));
    const sample = new File([], "card.png", { type: "image/png" });
    get("#yours-share").hidden = !(navigator.canShare && navigator.canShare({ files: [sample] }));
    get("#yours-share").addEventListener("click", card_(share));
    new ResizeObserver(() => photo && update()).observe(root);
  };

  const begin = () => {
    fillChoices();
    get("#yours-taken").max = dayOf(new Date());
    get("#yours-sown").max = dayOf(new Date());
    listen();
    root.hidden = false;
    lapsekit.idle(() => begun(root.dataset.rule).catch((error) => problem(error.word || "failed")));
  };
  lapsekit.data("season.js").then(
    () => lapsekit.data("curves.js").catch(() => {}).then(begin),
    () => {
      const note = document.querySelector(".yours-failed");
      note.textContent = text("The list of pictures could not be loaded. Load the page again when the connection is back.");
      note.hidden = false;
    },
  );
})();
