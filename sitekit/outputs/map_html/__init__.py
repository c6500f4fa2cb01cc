"""The map as one page: everything in it, nothing asked of a network.

- plain_text: text from data made safe to print
- scene: what the map is given
- mercator: the screen's projection, also across 180°
- ramps: colours of the map
- overlays: rasters, relief and the user's picture as small pictures
- contours: depth contours, for looking only
- vectors: outlines, lines and points with their facts
- colonies: planned colonies packed small
- snapshot: the still picture for phones that block scripts
- shell: the page around: security policy by hashes
- folium_page: the only user of folium; Leaflet and the security policy
- write: puts the page together
"""
