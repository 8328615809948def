"""A small trial with sound and vibration samples, for the tests of noise and vibration in reports.

Plain steel is on T1 and T3, carbide insert on T2 and T4 (`conftest.TABLES`); a sample without a set gets its edge type from
there. The shifts are those of `season`, with the blade down for half of their 6.5 hours.
"""

from conftest import SETTINGS, write_trial
from season import shifts

from trialkit.trial import checks

SOUND_HEADER = (
    "sound_id,truck_id,date,set_id,task,duration_min,level_dba,exchange_rate_db,window,radio,speed_mph\n"
)
VIBRATION_HEADER = "vibration_id,truck_id,date,axis,duration_min,rms_m_s2,surface\n"
DOWN, UP, IDLE = "blade_down", "blade_up", "idle"
LEVELS = {"T1": 86.0, "T3": 84.0, "T2": 82.0, "T4": 81.0}
BASIC_SOUND = [
    *((truck, DOWN, level) for truck, level in LEVELS.items()),
    *((truck, UP, level) for truck, level in zip(LEVELS, (78.0, 77.0, 77.5, 76.0), strict=True)),
]
BASIC_VIBRATION = [
    (truck, axis, factor * value)
    for truck, factor in (("T1", 1.0), ("T3", 1.1), ("T2", 0.8), ("T4", 0.9))
    for axis, value in (("x", 0.3), ("y", 0.25), ("z", 0.6))
]


def sound(rows, rate="3", radio="off", window="closed"):
    """Text of sound.csv from (truck, task, level) or (truck, task, level, rate, radio)."""
    lines = []
    for number, row in enumerate(rows, 1):
        truck, task, level, own_rate, own_radio = (*row, rate, radio)[:5] if len(row) == 3 else row
        lines.append(f"N{number},{truck},2030-12-02,,{task},30,{level},{own_rate},{window},{own_radio},20\n")
    return SOUND_HEADER + "".join(lines)


def vibration(rows=tuple(BASIC_VIBRATION)):
    """Text of vibration.csv from (truck, axis, vibration)."""
    lines = [
        f"V{number},{truck},2030-12-02,{axis},20,{rms},packed\n"
        for number, (truck, axis, rms) in enumerate(rows, 1)
    ]
    return VIBRATION_HEADER + "".join(lines)


def half_down():
    """Text of shifts.csv with the blade down for 3.25 of 6.5 hours."""
    return shifts().replace("blade_down_mi", "blade_down_mi,blade_down_h").replace(",20.0", ",20.0,3.25")


def cab_trial(folder, noise="", **tables):
    """The trial; `noise` is what stands under [noise] in the settings."""
    settings = f"{SETTINGS}[noise]\n{noise}\n" if noise else SETTINGS
    return checks.check_trial(write_trial(folder, settings=settings, **tables)).require_clean()
