"""The MicroPython module encodes the very bytes of the Python codec, under both interpreters.

MicroPython itself is the npm package @micropython/micropython-webassembly-pyscript under node;
the environment variable GROUNDSTATION_NODE_MODULES names the `node_modules` folder it is in.
"""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import subprocess
from pathlib import Path
from types import ModuleType

import pytest

import protocol
from protocol import Sender, standard_table
from protocol.generators.wording import member_name
from protocol.table import MAX_PAYLOAD_BYTES
from tests.protocol.frame_samples import FrameSample, all_samples, python_frame

MODULE = Path(protocol.__file__).parent / "micropython" / "wire.py"
PACKAGE = (
    Path(os.environ.get("GROUNDSTATION_NODE_MODULES", "/nonexistent"))
    / "@micropython"
    / "micropython-webassembly-pyscript"
)

# Calls the encoder as firmware does, with MicroPython's own json; runs under both interpreters.
ENCODE_LINES = """
import json
from wire import Encoder

def encode_lines(text):
    frames = []
    for line in text.split("\\n"):
        kind, vehicle, sequence, clock_us, raw = json.loads(line)
        encoder = Encoder(vehicle, sequence)
        frames.append("".join("%02x" % byte for byte in getattr(encoder, kind)(clock_us, **raw)))
    return "\\n".join(frames)
"""

RUN_UNDER_NODE = """
import { readFileSync } from "node:fs";
const [, , engine, module, program] = process.argv;
const { loadMicroPython } = await import(engine);
const stdout = (line) => console.log(line);
const micropython = await loadMicroPython({ stdout, heapsize: 16 << 20 });
micropython.FS.writeFile("/wire.py", readFileSync(module));
micropython.globals.set("text", readFileSync(0, "utf8"));
micropython.runPython('import sys\\nsys.path.append("/")');
micropython.runPython('print(sys.implementation.name)');
micropython.runPython(readFileSync(program, "utf8"));
micropython.runPython("print(encode_lines(text))");
"""


@pytest.fixture(scope="module")
def wire() -> ModuleType:
    """The module, loaded by CPython."""
    spec = importlib.util.spec_from_file_location("wire", MODULE)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def samples() -> list[FrameSample]:
    return all_samples(standard_table(), count=2000, seed=4)


def arguments(sample: FrameSample) -> dict[str, int | str]:
    return {member_name(each): sample.raw[each.name] for each in sample.kind.fields}


def test_under_cpython_every_frame_equals_the_codec(wire: ModuleType) -> None:
    table = standard_table()
    for sample in samples():
        encoder = wire.Encoder(sample.vehicle, sample.sequence)
        frame = getattr(encoder, sample.kind.name)(sample.clock_us, **arguments(sample))
        assert frame == python_frame(table, sample)


@pytest.mark.skipif(shutil.which("node") is None, reason="needs node")
@pytest.mark.skipif(
    not PACKAGE.is_dir(), reason=f"needs npm package {PACKAGE.name} in GROUNDSTATION_NODE_MODULES"
)
def test_under_micropython_every_frame_equals_the_codec(tmp_path: Path) -> None:
    table = standard_table()
    (tmp_path / "run.mjs").write_text(RUN_UNDER_NODE)
    (tmp_path / "encode_lines.py").write_text(ENCODE_LINES)
    calls = [
        [each.kind.name, each.vehicle, each.sequence, each.clock_us, arguments(each)]
        for each in samples()
    ]
    # MicroPython's json does not join the two escapes of a surrogate pair.
    lines = "\n".join(json.dumps(call, ensure_ascii=False) for call in calls)
    scripts = (PACKAGE / "micropython.mjs", MODULE, tmp_path / "encode_lines.py")
    done = subprocess.run(
        ["node", str(tmp_path / "run.mjs"), *map(str, scripts)],
        input=lines,
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    interpreter, *frames = done.stdout.split()
    assert interpreter == "micropython"
    assert frames == [python_frame(table, each).hex() for each in samples()]


def test_what_is_left_out_or_none_is_unknown(wire: ModuleType) -> None:
    encoder, sender = wire.Encoder(), Sender()
    for kind in standard_table().kinds:
        assert getattr(encoder, kind.name)(5) == sender.encode(kind.name, {}, 5)
    nothing = dict.fromkeys(("pack_voltage_v_x100", "pack_current_a_x10"))
    assert encoder.power(6, **nothing) == sender.encode("power", {}, 6)


def test_counters_wrap(wire: ModuleType) -> None:
    encoder = wire.Encoder(vehicle=3, sequence=65535)
    sender = Sender(vehicle=3, sequence=65535)
    for clock_us in (2**32 - 1, 2**32, 2**32 + 7):
        assert encoder.power(clock_us) == sender.encode("power", {}, clock_us)


def test_a_kind_of_ones_own_may_fill_a_frame_and_no_more(wire: ModuleType) -> None:
    encoder = wire.Encoder(vehicle=1, sequence=7)
    payload = bytes.fromhex("F0A07B02")
    # The builder's example of WIRE.md.
    assert encoder.frame(0x80, 1_000_000, payload).hex(" ").upper() in (
        MODULE.parent.parent / "WIRE.md"
    ).read_text(encoding="utf-8")
    assert len(encoder.frame(0x80, 0, bytes(MAX_PAYLOAD_BYTES))) == 66
    with pytest.raises(ValueError, match="too long"):
        encoder.frame(0x80, 0, bytes(MAX_PAYLOAD_BYTES + 1))


def test_bits_have_their_names(wire: ModuleType) -> None:
    flags = wire.MOTION_FLAGS_FAILSAFE_ACTIVE | wire.MOTION_FLAGS_SENSOR_CLIPPED
    values = {"failsafe_active": True, "sensor_clipped": True}
    assert wire.Encoder().motion(0, flags=flags) == Sender().encode("motion", values, 0)
