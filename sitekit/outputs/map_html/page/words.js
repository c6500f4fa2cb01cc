// The page's own words, in the language of its plan: they come with the data.
sitekit.say = (key, values) => {
  const text = sitekit.words[key];
  return values ? text.replace(/\{(\w+)\}/g, (_, name) => values[name]) : text;
};
// What a kind of a layer is called: rule, role, origin or mark.
sitekit.kind = (layer, kind) => layer.kinds && Object.hasOwn(layer.kinds, kind) ? layer.kinds[kind] : kind;
