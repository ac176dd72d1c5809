"""Operators as everything else sees them; most tests run over every registered operator."""

import json
import subprocess
import sys

import pytest

from archive.engine import operator
from archive.engine.declaration import Unit, registry
from archive.errors import ArchiveError, Exit, UsageError
from archive.model.recipe import OperatorValues

EVERY = sorted(registry)
NUMBERS = [
    (name, version, each.name)
    for name, version in EVERY
    for each in registry[name, version].parameters
    if not each.is_choice and not each.frames
]


@pytest.mark.parametrize(("name", "version"), EVERY)
def test_defaults_are_complete_neutral_and_survive_their_dictionary(name: str, version: int) -> None:
    values = operator.checked(name, {}, version=version)
    assert set(values.values) == {each.name for each in registry[name, version].parameters}
    assert operator.is_neutral(values)
    assert OperatorValues.from_json(json.loads(json.dumps(values.to_json()))) == values
    assert type(operator.instance(values)) is registry[name, version].make


@pytest.mark.parametrize(("name", "version", "parameter"), NUMBERS)
def test_values_outside_the_range_are_refused_with_name_unit_and_range(
    name: str, version: int, parameter: str
) -> None:
    about = registry[name, version].parameter(parameter)
    assert about is not None
    with pytest.raises(UsageError, match=rf"^{name}\.{parameter}: .* is outside .* to ") as caught:
        operator.checked(name, {parameter: about.high + 1}, version=version)
    assert caught.value.exit_code is Exit.USAGE
    for bad in (float("nan"), float("inf"), "much", True):
        with pytest.raises(UsageError):
            operator.checked(name, {parameter: bad}, version=version)
    assert operator.checked(name, {parameter: about.low}, version=version).values[parameter] == about.low


@pytest.mark.parametrize(("name", "version"), EVERY)
def test_the_schema_names_every_parameter_and_its_limits(name: str, version: int) -> None:
    schema = operator.json_schema(name, version)
    assert schema["required"] == [each.name for each in registry[name, version].parameters]
    for each in registry[name, version].parameters:
        property_ = schema["properties"][each.name]
        assert property_["description"] == each.help
        if each.is_choice:
            assert property_["enum"] == list(each.choices)
        elif each.frames:
            assert property_["type"] == "string" and property_["pattern"]
        else:
            assert (property_["minimum"], property_["maximum"]) == (each.low, each.high)


def test_a_wrong_value_is_told_in_its_unit() -> None:
    with pytest.raises(UsageError) as caught:
        operator.checked("exposure", {"stops": 9})
    assert str(caught.value) == "exposure.stops: 9 EV is outside -8 to 8 EV"


@pytest.mark.parametrize(
    ("setting", "text", "expected"),
    [
        ("exposure.stops", "0.5", 0.5),
        ("exposure.stops", "+0.5EV", 0.5),
        ("exposure.stops", "−1 EV", -1.0),
        ("balance.kelvin", "4200K", 4200.0),
        ("balance.source", "As-Shot", "as_shot"),
        ("crop.aspect", "16:9", 1.777778),
        ("crop.aspect", "1.5", 1.5),
        ("crop.left", "5%", 0.05),
        ("straighten.angle", "-1.5°", -1.5),
        ("sharpness.radius", "0.5 ‰", 0.5),
        ("luminance_noise.strength", "2σ", 2.0),
    ],
)
def test_settings_are_read_with_or_without_their_unit(setting: str, text: str, expected: object) -> None:
    name, _, parameter = setting.partition(".")
    assert operator.parse_setting(setting, text) == (name, parameter, expected)


@pytest.mark.parametrize(
    ("setting", "text", "told"),
    [
        ("exposure.stops", "4200K", "is not a number in EV"),
        ("exposure.stops", "bright", "is not a number in EV"),
        ("exposure", "1", "is no setting"),
        ("exposre.stops", "1", "near it: exposure"),
        ("exposure.stop", "1", "near it: stops"),
        ("balance.source", "asshot", "near it: as_shot"),
        ("crop.aspect", "16:0", "is not a number"),
    ],
)
def test_settings_that_are_wrong_name_what_is_near(setting: str, text: str, told: str) -> None:
    with pytest.raises(UsageError, match=told):
        operator.parse_setting(setting, text)


@pytest.mark.parametrize(("first", "second"), [("left", "right"), ("top", "bottom")])
def test_sides_that_leave_nothing_between_them_are_refused_by_every_way_to_values(
    first: str, second: str
) -> None:
    for cut in (0.6, 0.351):
        with pytest.raises(
            ArchiveError, match=f"crop: {first} and {second} together cut .* at most 95 %"
        ) as e:
            operator.checked("crop", {first: 0.6, second: cut})
        assert e.value.exit_code is Exit.REFUSED
    wide = operator.checked("crop", {first: 0.6})
    with pytest.raises(ArchiveError, match="together cut 120 %"):
        operator.changed(wide, {second: 0.6})
    old = OperatorValues(name="crop", version=1, values={**wide.values, second: 0.6})
    with pytest.raises(ArchiveError, match="together cut 120 %"):
        operator.changed(old, {"aspect": 1.5})
    assert operator.fault(old) == operator.fault(operator.renewed(old)) is not None
    # What was recorded before it was refused can still be told of.
    assert operator.instance(old).declared.name == "crop"
    assert operator.changed(old, {second: 0.35}).values[second] == 0.35


@pytest.mark.parametrize(("first", "second"), [(0.9, 0.05), (0.05, 0.9), (0.475, 0.475)])
def test_sides_that_cut_95_percent_exactly_are_taken(first: float, second: float) -> None:
    assert operator.fault(operator.checked("crop", {"left": first, "right": second})) is None


def test_of_operators_of_another_release_no_fault_can_be_told() -> None:
    assert operator.fault(OperatorValues(name="skyglow", version=3, values={"share": 0.5})) is None
    assert operator.fault(OperatorValues(name="crop", version=1, values={"left": 0.9})) is None


def test_a_temperature_implies_that_the_illuminant_is_stated() -> None:
    assert operator.checked("balance", {"kelvin": 4200.0}).values["source"] == "illuminant"
    shot = operator.checked("balance", {})
    assert operator.changed(shot, {"duv": 0.01}).values["source"] == "illuminant"
    daylight = operator.checked("balance", {"source": "daylight", "kelvin": 6000.0})
    assert operator.changed(daylight, {"source": "as_shot"}).values["kelvin"] == 6000.0


def test_changes_are_put_in_words_with_true_minus_signs() -> None:
    old = operator.checked("exposure", {"stops": -0.5})
    new = operator.changed(old, {"stops": -5 / 6})
    assert operator.describe_change(old, new) == ["exposure −0.50 → −0.83 stops"]
    assert operator.describe_change(old, old) == []
    assert operator.describe_change(None, old) == ["exposure −0.50 stops"]
    assert operator.describe_change(old, None) == ["exposure removed"]
    assert operator.describe_change(None, None) == []
    warm = operator.checked("balance", {"kelvin": 4200})
    assert operator.describe_change(operator.checked("balance", {}), warm) == [
        "balance.source as_shot → illuminant",
        "balance.kelvin 5500 → 4200 K",
    ]


def test_unknown_operators_and_versions_are_refused_by_name() -> None:
    with pytest.raises(UsageError, match="no operator 'glow'"):
        operator.declaration("glow")
    with pytest.raises(ArchiveError, match="no version 9 of the operator exposure"):
        operator.declaration("exposure", 9)
    with pytest.raises(ArchiveError, match="exposure version 9") as caught:
        operator.instance(OperatorValues(name="exposure", version=9, values={"stops": 0.0}))
    assert "a newer release is needed" in caught.value.hint
    with pytest.raises(ArchiveError, match="do not match its declaration: stops"):
        operator.instance(OperatorValues(name="exposure", version=1, values={}))


def test_declarations_come_in_the_order_of_families() -> None:
    names = [each.name for each in operator.declarations()]
    assert len(names) == len(set(names))
    assert (
        names.index("hot_pixels") < names.index("vignetting") < names.index("crop") < names.index("exposure")
    )
    assert names[-1] == "sharpness"
    assert all(each.title and each.help is not None for each in operator.declarations())


def test_looking_operators_up_imports_no_numpy() -> None:
    code = "import sys, archive.engine.operator; sys.exit('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_every_unit_is_written_behind_its_number() -> None:
    for each in operator.declarations():
        for parameter in each.parameters:
            text = operator.worded(parameter, parameter.default)
            if parameter.unit in (Unit.EV, Unit.KELVIN, Unit.SIGMA, Unit.DUV):
                assert text.endswith(f" {parameter.unit}")


FRAMES = ("xxh128:a96faf705af16834e6c632b61e964e1f", "xxh128:06b05ab6733a618578af5f94892f3950")


def test_a_list_of_frames_is_kept_in_order_each_once() -> None:
    text = f"{FRAMES[0]}, {FRAMES[1]} {FRAMES[0]}"
    name, parameter, value = operator.parse_setting("dark_frame.frames", text)
    assert (name, parameter, value) == ("dark_frame", "frames", f"{FRAMES[1]} {FRAMES[0]}")
    values = operator.checked("dark_frame", {"frames": text})
    assert values.values == {"frames": value, "share": 1.0}
    assert not operator.is_neutral(values)
    words = "dark_frame.frames 2 frames (06b05ab6, a96faf70); dark_frame.share 1.00 ×"
    assert operator.in_words(values) == words
    assert operator.describe_change(operator.checked("dark_frame", {}), values) == [
        "dark_frame.frames no frames → 2 frames (06b05ab6, a96faf70)"
    ]


def test_what_is_no_frame_id_is_refused() -> None:
    with pytest.raises(UsageError, match=r"dark_frame\.frames: 'NOCT0412' is no frame id") as caught:
        operator.checked("dark_frame", {"frames": "NOCT0412"})
    assert "noctuary darks" in caught.value.hint
