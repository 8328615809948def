"""A small trial with storms, shifts, material and ratings, for the tests of material and clearing in reports.

Plain steel is on T1 and T3, carbide insert on T2 and T4 (`conftest.TABLES`). Each truck is out once in each of five storms and
treats 20 lane-miles. Plain steel spreads the storm's rate, carbide insert `factor` times as much; trucks differ by a per cent
or two.
"""

from conftest import SETTINGS, TABLES, write_trial

from trialkit.trial import checks

STORM_RATES = {"W1": 150.0, "W2": 240.0, "W3": 180.0, "W4": 300.0, "W5": 200.0}
DAYS = {"W1": "2030-11-24", "W2": "2030-12-03", "W3": "2030-12-12", "W4": "2030-12-22", "W5": "2031-01-06"}
TRUCKS = {"T1": 1.00, "T2": 1.01, "T3": 1.02, "T4": 0.99}
CARBIDE = ("T2", "T4")
WEATHER = {
    "W1": ("4.0", "snow", "30"),
    "W2": ("7.0", "snow", "28"),
    "W3": ("3.0", "snow", "33"),
    "W4": ("8.0", "snow", "20"),
    "W5": ("", "", ""),
}
PASSES = {"T1": "4.0", "T2": "4.0", "T3": "4.5", "T4": "4.5"}
SNOW = {"T1": "0.4", "T2": "0.3", "T3": "0.5", "T4": "0.4"}
SHIFT_HEADER = "shift_id,storm_id,truck_id,plow_position,operator,start,end,blade_down_mi,blade_down_h,lane_miles_treated,passes,surface,residual_snow_in\n"
MATERIAL_HEADER = (
    "shift_id,material,quantity_lb,quantity_gal,unit_price_usd,concentration_pct,chloride_frac\n"
)
CALIBRATED = (
    TABLES["trucks"].replace("block\n", "block,spreader_calibrated_on\n").replace("th\n", "th,2030-10-01\n")
)
FLEET = """\
truck_id,plow_position,miles_low_mi,miles_mid_mi,miles_high_mi
T1,front,500,1000,1500
T2,front,500,1000,1500
"""


def pairs():
    """Storm and truck of every shift, in order."""
    return [(storm, truck) for storm in STORM_RATES for truck in TRUCKS]


def storms():
    """Text of storms.csv; the last has no weather."""
    rows = [
        f"{storm},{day}T02:00,{day}T14:00,{','.join(WEATHER[storm][:2])},{WEATHER[storm][2]},8\n"
        for storm, day in DAYS.items()
    ]
    return "storm_id,start,end,snow_in,precip,pavement_temp_f,wind_mph\n" + "".join(rows)


def shifts(treated="20", extra=""):
    """Text of shifts.csv: 40 blade-down miles in each shift."""
    rows = [
        f"{storm}-{truck},{storm},{truck},front,OP{truck[1]},{DAYS[storm]}T04:00,{DAYS[storm]}T10:00,40,4.0,{treated},"
        f"{PASSES[truck]},loose,{SNOW[truck]}\n"
        for storm, truck in pairs()
    ]
    return SHIFT_HEADER + "".join(rows) + extra


def material(factor=0.8, skip=(), price="0.04"):
    """Text of material.csv; shifts in `skip` have no record."""
    rows = []
    for storm, truck in pairs():
        rate = STORM_RATES[storm] * TRUCKS[truck] * (factor if truck in CARBIDE else 1.0)
        if f"{storm}-{truck}" not in skip:
            rows.append(f"{storm}-{truck},rock_salt,{20 * rate:.1f},,{price},,\n")
    return MATERIAL_HEADER + "".join(rows)


def ratings():
    """Text of operator_ratings.csv: carbide insert is liked better."""
    rows = [f"{storm}-{truck},clearing,{4 if truck in CARBIDE else 3},\n" for storm, truck in pairs()]
    return "shift_id,item,score,comment\n" + "".join(rows)


def material_trial(folder, settings="", **tables):
    """The trial; `settings` is what stands under [material]; a table given as None is left out."""
    usual = {
        "storms": storms(), "shifts": shifts(), "material": material(), "operator_ratings": ratings(), "fleet_plan": FLEET,
        "trucks": CALIBRATED,
    }  # fmt: skip
    text = f"{SETTINGS}[material]\n{settings}\n" if settings else SETTINGS
    return checks.check_trial(write_trial(folder, settings=text, **{**usual, **tables})).require_clean()
