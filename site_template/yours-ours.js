// The grower's side: which plants there are, which picture is nearest to an age, and their curves.
(() => {
  "use strict";

  const DAY = 864e5;
  const after = (day, days) => new Date(Date.parse(day) + DAY * days).toISOString().slice(0, 10);
  const series = () => (lapsekit.curves ? lapsekit.curves.series : []);
  const found = (list, name) => list.find((each) => each.name === name) || null;

  // Plants by themselves, then groups of them; a group is held against by its mean.
  const choices = () => {
    const { regions } = lapsekit.season;
    const groups = series().filter((each) => !found(regions, each.name) && each.group);
    return {
      plants: regions.map(({ name, title }) => ({ name, title })),
      groups: groups.map(({ name, title }) => ({ name, title })),
    };
  };

  const valueOn = (of, day) => {
    const place = of ? lapsekit.curves.days.indexOf(day) : -1;
    if (place < 0 || of.value[place] === null) return null;
    return { value: of.value[place], low: of.low[place], high: of.high[place] };
  };

  // The plant that stands for a group in a picture: the one that is nearest to its mean. A group is
  // of one camera; another's may be called the same.
  const typical = (group, day) => {
    const mean = valueOn(group, day);
    const members = lapsekit.season.regions.filter(
      (each) => each.group === group.group && each.camera === group.camera);
    const away = (each) => {
      const own = valueOn(found(series(), each.name), day);
      return own && mean ? Math.abs(own.value - mean.value) : Infinity;
    };
    return members.reduce((best, each) => (away(each) < away(best) ? each : best), members[0]);
  };

  const nearest = (days, wanted) => {
    const away = (day) => Math.abs(Date.parse(day) - Date.parse(wanted));
    return days.reduce((best, day) => (best && away(best) <= away(day) ? best : day), null);
  };

  // What is shown of a plant or a group at an age: its region, its picture, its number.
  const at = (name, age) => {
    const { regions, cameras, sown } = lapsekit.season;
    const curve = found(series(), name);
    const plant = found(regions, name);
    const since = (plant && plant.sown) || (curve && curve.sown) || sown;
    const wanted = after(since, age);
    const region = plant || (curve && typical(curve, wanted));
    if (!region) return null;
    const camera = found(cameras, region.camera);
    const day = camera && nearest(Object.keys(camera.days), wanted);
    return {
      name, curve, region, camera, day,
      title: curve && !plant ? curve.title : region.title,
      isGroup: !plant,
      age: day ? lapsekit.age(day, since) : null,
      since, wanted,
      value: valueOn(curve, wanted),
      unit: curve ? curve.unit : region.unit,
    };
  };

  lapsekit.ours = { choices, at };
})();
