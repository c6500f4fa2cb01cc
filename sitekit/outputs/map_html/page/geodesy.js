"use strict";
// Positions and distances: the screen's plane, notations, and the inverse problem on the WGS 84 ellipsoid.
const sitekit = {};
sitekit.geodesy = (() => {
  const RADIUS = 6378137; // m, sphere of EPSG:3857 and semi-major axis of WGS 84 (NIMA TR8350.2)
  const FLATTENING = 1 / 298.257223563; // WGS 84
  const radians = (d) => d * Math.PI / 180, degrees = (r) => r * 180 / Math.PI;

  function toDegrees(x, y) { return { lon: degrees(x / RADIUS), lat: degrees(Math.atan(Math.sinh(y / RADIUS))) }; }
  function toPlane(lon, lat) { return { x: radians(lon) * RADIUS, y: Math.asinh(Math.tan(radians(lat))) * RADIUS }; }
  function wrap(lon) { const w = ((lon + 180) % 360 + 360) % 360 - 180; return w; }

  // Vincenty (1975), "Direct and inverse solutions of geodesics on the ellipsoid with application of nested equations",
  // Survey Review 23(176), equations 13 to 21 (recalled; checked against GeographicLib). Null where it does not settle.
  function inverse(lon1, lat1, lon2, lat2) {
    const a = RADIUS, f = FLATTENING, b = a * (1 - f);
    const L = radians(wrap(lon2 - lon1));
    const u1 = Math.atan((1 - f) * Math.tan(radians(lat1))), u2 = Math.atan((1 - f) * Math.tan(radians(lat2)));
    const s1 = Math.sin(u1), c1 = Math.cos(u1), s2 = Math.sin(u2), c2 = Math.cos(u2);
    let lambda = L;
    for (let round = 0; round < 200; round += 1) {
      const sl = Math.sin(lambda), cl = Math.cos(lambda);
      const ss = Math.hypot(c2 * sl, c1 * s2 - s1 * c2 * cl);
      if (ss === 0) { return { metres: 0, bearing: 0 }; }
      const cs = s1 * s2 + c1 * c2 * cl, sigma = Math.atan2(ss, cs);
      const sa = c1 * c2 * sl / ss, ca2 = 1 - sa * sa;
      const cm = ca2 > 1e-15 ? cs - 2 * s1 * s2 / ca2 : 0;
      const C = f / 16 * ca2 * (4 + f * (4 - 3 * ca2));
      const before = lambda;
      lambda = L + (1 - C) * f * sa * (sigma + C * ss * (cm + C * cs * (2 * cm * cm - 1)));
      if (Math.abs(lambda - before) < 1e-13) {
        const k2 = ca2 * (a * a - b * b) / (b * b);
        const A = 1 + k2 / 16384 * (4096 + k2 * (-768 + k2 * (320 - 175 * k2)));
        const B = k2 / 1024 * (256 + k2 * (-128 + k2 * (74 - 47 * k2)));
        const less = B * ss * (cm + B / 4 * (cs * (2 * cm * cm - 1) - B / 6 * cm * (4 * ss * ss - 3) * (4 * cm * cm - 3)));
        const sl2 = Math.sin(lambda), cl2 = Math.cos(lambda);
        const bearing = degrees(Math.atan2(c2 * sl2, c1 * s2 - s1 * c2 * cl2));
        return { metres: b * A * (sigma - less), bearing: (bearing + 360) % 360 };
      }
    }
    return null;
  }

  // Minutes and seconds are rounded as a whole first, so that 60 never stands where 0 of the next is due.
  function angle(value, signs, notation) {
    const sign = value < 0 ? signs[1] : signs[0], size = Math.abs(value);
    const wide = signs === "EW" ? 3 : 2;
    if (notation === "dd") { return `${size.toFixed(6).padStart(wide + 7, "0")}° ${sign}`; }
    if (notation === "ddm") {
      const all = Math.round(size * 60 * 1e4), whole = Math.floor(all / 6e5);
      return `${String(whole).padStart(wide, "0")}° ${((all - whole * 6e5) / 1e4).toFixed(4).padStart(7, "0")}′ ${sign}`;
    }
    const all = Math.round(size * 3600 * 100), whole = Math.floor(all / 360000);
    const minutes = Math.floor((all - whole * 360000) / 6000), seconds = (all - whole * 360000 - minutes * 6000) / 100;
    return `${String(whole).padStart(wide, "0")}° ${String(minutes).padStart(2, "0")}′ ${seconds.toFixed(2).padStart(5, "0")}″ ${sign}`;
  }
  function position(lon, lat, notation) { return `${angle(lat, "NS", notation)}, ${angle(wrap(lon), "EW", notation)}`; }

  return { RADIUS, toDegrees, toPlane, wrap, inverse, position };
})();
