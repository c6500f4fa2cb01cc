"""Protected areas: a rule each, the strictest last, proposed ones without effect."""

import geopandas as gpd
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from sitekit.errors import InputFault
from sitekit.layers.protected import RULE_CODES, read_protected
from sitekit.layers.raster import rasterize_polygons
from tests.layers.rasters import NORTH, UTM, WEST, grid, read

INNER = shapely.box(WEST, NORTH - 10, WEST + 10, NORTH)
OUTER = shapely.box(WEST, NORTH - 40, WEST + 50, NORTH)


def file(folder, shapes=(INNER, OUTER), **columns):
    path = folder / "areas.gpkg"
    columns = columns or {"name": ["inner", "outer"], "rule": ["Forbidden", "permit "]}
    gpd.GeoDataFrame(columns, geometry=list(shapes), crs=UTM).to_file(path)
    return path


def test_the_strictest_rule_wins_where_areas_lie_over_one_another(tmp_path):
    """A no-take zone opened by the park around it."""
    frame, _ = read_protected(file(tmp_path), to_crs=UTM, rule_field="rule")
    assert frame["name"].tolist() == ["outer", "inner"]
    assert frame["rule"].tolist() == ["permit", "forbidden"]
    out = read(rasterize_polygons(frame, "code", grid(), tmp_path / "out.tif").path)
    assert (out[:10, :10] == RULE_CODES["forbidden"]).all()
    assert (out[10:] == RULE_CODES["permit"]).all()


@settings(max_examples=8)
@given(st.permutations(sorted(RULE_CODES)))
def test_order_of_rows_does_not_matter(tmp_path_factory, rules):
    """A rule that wins because its row stands last."""
    shapes = [OUTER] * len(rules)
    path = file(tmp_path_factory.mktemp("a"), shapes, name=[f"a{i}" for i in range(len(rules))], rule=rules)
    frame, _ = read_protected(path, to_crs=UTM, rule_field="rule")
    assert frame["rule"].tolist() == ["none", "preferred", "permit", "forbidden"]


def test_rules_of_the_settings_win_over_the_column(tmp_path):
    """A correction that the file overrules."""
    frame, _ = read_protected(file(tmp_path), to_crs=UTM, rule_field="rule", rules={"inner": "permit"})
    assert frame["rule"].tolist() == ["permit", "permit"]


def test_a_proposed_area_has_no_effect_and_a_note(tmp_path):
    """A bay closed by a draft."""
    path = file(tmp_path, name=["inner", "outer"], rule=["forbidden", "permit"], STATUS=["Proposed", "Designated"])
    frame, notes = read_protected(path, to_crs=UTM, rule_field="rule")
    assert dict(zip(frame["name"], frame["rule"], strict=True)) == {"inner": "none", "outer": "permit"}
    assert notes == (
        "proposed areas have no legal effect yet and count as `none`, unless [layers.protected.rules] names them: inner",
    )
    frame, notes = read_protected(path, to_crs=UTM, rule_field="rule", rules={"inner": "permit"})
    assert dict(zip(frame["name"], frame["rule"], strict=True)) == {"inner": "permit", "outer": "permit"}
    assert notes == ("the file says proposed, the plan's own rule counts: inner (permit)",)


@pytest.mark.parametrize(
    ("columns", "more", "said"),
    [
        (
            {"name": ["a", "b"], "rule": ["closed", None]},
            {"rule_field": "rule"},
            r"(?s)row 1 \(a\): rule 'closed'; due: none, preferred, permit, forbidden.*row 2 \(b\): .*ask the authority",
        ),
        ({"name": ["a", "b"]}, {"rules": {"a": "permit"}}, r"row 2 \(b\): no rule; .*A category alone never decides"),
        (
            {"name": ["a", "b"]},
            {"rules": {"a": "none", "b": "none", "c": "none"}},
            r"rules\.'c': no area has this name; due: a, b",
        ),
        (
            {"label": ["a", "b"]},
            {"rule_field": "rule"},
            r"(?s)name_field: no column 'name'.*rule_field: no column 'rule'",
        ),
    ],
)
def test_areas_without_a_usable_rule_are_refused(tmp_path, columns, more, said):
    """Planting allowed, or forbidden, by a guess."""
    with pytest.raises(InputFault, match=said):
        read_protected(file(tmp_path, **columns), to_crs=UTM, **more)


def test_columns_of_the_wdpa_are_told_and_decide_nothing(tmp_path):
    """A category taken for a rule, or a no-take zone opened without a word."""
    columns = {
        "WDPAID": [1, 2], "NAME": ["Inner Bay", "Outer Bay"], "IUCN_CAT": ["II", "VI"], "NO_TAKE": ["All", "None"],
        "STATUS": ["Designated", "Agreed"], "MARINE": ["2", "0"],
    }  # fmt: skip
    path = file(tmp_path, **columns)
    with pytest.raises(InputFault, match=r"no rule \(the file says: iucn_cat II, no_take All, status Designated\)"):
        read_protected(path, to_crs=UTM, rules={"Outer Bay": "permit"})
    doubts = []
    frame, notes = read_protected(path, to_crs=UTM, rules={"Inner Bay": "none", "Outer Bay": "permit"}, doubts=doubts)
    assert dict(zip(frame["name"], frame["rule"], strict=True)) == {"Inner Bay": "none", "Outer Bay": "permit"}
    assert [d.said for d in doubts] == ["Inner Bay: NO_TAKE is All, the plan's rule 'none'"]
    assert notes == (
        "columns of the WDPA (IUCN_CAT, NO_TAKE, STATUS, MARINE) are told and decide nothing; names from 'NAME'",
        "STATUS holds codes that are not of the list: Agreed",
        "1 areas whose MARINE says land only are kept",
    )
