// The address of two days held together, so that a view can be shared: after the "#" the two days,
// then what else is chosen, `2031-04-17/2031-05-03/basil/view=blink`. The second day can be `latest`.
// Pure.
(() => {
  "use strict";
  const VIEWS = ["wipe", "blink", "side"];

  const isDay = (text) => {
    if (!/^\d{4}-\d\d-\d\d$/.test(text)) return false;
    const at = new Date(`${text}T00:00:00Z`);
    return !Number.isNaN(at.getTime()) && at.toISOString().startsWith(text);
  };
  const plain = (text) => {
    try {
      return decodeURIComponent(text);
    } catch {
      return text;
    }
  };

  // Days with a picture next to `day`, which need not have one; null where there is none.
  const around = (days, day) => ({
    before: days.filter((each) => each < day).pop() || null,
    after: days.find((each) => each > day) || null,
  });
  const nearest = (days, day) => days.reduce((best, each) => {
    const away = (one) => Math.abs(Date.parse(one) - Date.parse(day));
    return away(each) < away(best) ? each : best;
  });

  // Without an address: the latest picture, against the one nearest to a week before.
  const usual = (days) => {
    const second = days[days.length - 1];
    const week = new Date(Date.parse(second) - 7 * 864e5).toISOString().slice(0, 10);
    return { first: nearest(days.slice(0, -1), week), second };
  };

  // What an address asks for; whatever it does not say, or says of nothing that is there, is usual.
  const read = (hash, season) => {
    const parts = hash.replace(/^#/, "").split("/").map(plain).filter(Boolean);
    const cameras = season.cameras.filter((each) => Object.keys(each.days).length > 1);
    const named = (key) => parts.find((part) => part.startsWith(`${key}=`))?.slice(key.length + 1);
    const region = season.regions.find((each) => parts.slice(1).includes(each.name)
      && cameras.some((camera) => camera.name === each.camera)) || null;
    const wanted = region ? region.camera : named("camera");
    const camera = cameras.find((each) => each.name === wanted) || cameras[0];
    const found = usual(Object.keys(camera.days).sort());
    const days = parts.slice(0, 2).map((part) => (part === "latest" ? found.second : part));
    if (isDay(days[0] || "")) {
      found.first = days[0];
      if (isDay(days[1] || "")) found.second = days[1];
    }
    const view = VIEWS.includes(named("view")) ? named("view") : "wipe";
    return { ...found, camera: camera.name, region: region && region.name, view };
  };

  // The shortest address that says all of it.
  const write = (state, season) => {
    const several = season.cameras.filter((each) => Object.keys(each.days).length > 1);
    const parts = [state.first, state.second];
    if (state.region) parts.push(encodeURIComponent(state.region));
    else if (state.camera !== several[0].name) parts.push(`camera=${encodeURIComponent(state.camera)}`);
    if (state.view !== "wipe") parts.push(`view=${state.view}`);
    return `#${parts.join("/")}`;
  };

  lapsekit.twoAddress = { read, write, around, nearest };
})();
