"""The sketch of docs/sensor.md, compiled for this computer: what it prints is what is read."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from truerun.sensing.capture import Capture
from truerun.sensing.counter import Arrival

ROOT = Path(__file__).parents[2]
COMPILER = shutil.which("g++") or shutil.which("c++")

# what a board brings along, and a wheel of four marks that bounces once
BOARD = """
#include <cstdio>
#include <cstdint>
typedef uint8_t byte;
enum { OUTPUT, INPUT_PULLUP, FALLING, LED_BUILTIN = 13 };
static unsigned long now_us = 0;
unsigned long micros() { return now_us; }
int digitalPinToInterrupt(int pin) { return pin; }
void (*called[4])();
void attachInterrupt(int pin, void (*what)(), int) { called[pin] = what; }
void pinMode(int, int) {}
void digitalWrite(int, int) {}
struct {
  void begin(long) {}
  void print(char sign) { putchar(sign); }
  void print(unsigned long number) { printf("%lu", number); }
  void print(bool yes) { printf("%d", yes ? 1 : 0); }
  void println(const char *text = "") { printf("%s\\r\\n", text); }
} Serial;
"""
WHEEL = """
int main() {
  setup();
  for (int number = 0; number < 12; number++) {
    now_us = 1000000 + 50000 * number;
    if (INDEX && number % 4 == 0) called[3]();
    called[2]();
    if (number == 5) { now_us += 100; called[2](); }
    loop(); loop();
  }
}
"""


def printed(sketch: str, folder: Path) -> bytes:
    """Compile a sketch, let the wheel turn, and give what it prints."""
    assert COMPILER is not None
    source, program = folder / "sketch.cpp", folder / "sketch"
    source.write_text(BOARD + sketch + WHEEL)
    subprocess.run([COMPILER, "-Wall", "-Werror", "-o", program, source], check=True)
    return subprocess.run([program], check=True, capture_output=True).stdout


@pytest.mark.skipif(COMPILER is None, reason="no C++ compiler")
@pytest.mark.parametrize("index", [0, 1])
def test_the_sketch_of_the_page_prints_what_is_read(tmp_path: Path, index: int) -> None:
    found = re.search(r"```cpp\n(.*?)```", (ROOT / "docs" / "sensor.md").read_text(encoding="utf-8"), re.DOTALL)
    assert found is not None
    sketch = found[1].replace("#define INDEX 0", f"#define INDEX {index}")
    assert len(sketch.splitlines()) <= 21
    reader = Capture(mid_line=False)
    passes = reader.feed(printed(sketch, tmp_path), Arrival(float("-inf"), 0.0)).passes
    assert [round(each.time * 1e6) for each in passes] == [1_000_000 + 50_000 * number for number in range(12)]
    assert [each.indexed for each in passes] == [number % 4 == 0 if index else None for number in range(12)]
    assert reader.unreadable == 0
