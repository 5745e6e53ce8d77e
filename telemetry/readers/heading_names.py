"""The spellings of headings and of units in tables, in English, German, French, Spanish, Italian and Dutch.

A heading is compared without case, accents, punctuation and unit (``Höhe [m]`` is ``hohe``). The first
spelling of a column is its most explicit one. The words of the other languages are those of dictionaries and
of the field: common practice, no source.
"""

from __future__ import annotations

from typing import Final

from telemetry.core.units import FOOT_M, KMH_MPS, KNOT_MPS, MPH_MPS

STANDARD_GRAVITY_MPS2: Final = 9.80665
"""Exact by definition (NIST SP 811, appendix B)."""

ENGLISH: Final[dict[str, tuple[str, ...]]] = {
    # Time. What a bare "time" is (a date, a time of day, seconds) only its values tell.
    "utc": ("utc", "utc time", "gps time", "gps utc", "time utc", "utc timestamp", "gps timestamp",
            "gps datetime", "hhmmss utc"),
    "date": ("utc date", "gps date", "date utc", "date", "yymmdd", "ddmmyy"),
    "clock": ("time", "timestamp", "time stamp", "datetime", "date time", "time of day", "local time",
              "epoch", "unix time", "hhmmss"),
    "host": ("t host", "host time", "host", "system time", "logger time"),
    "elapsed": ("t", "elapsed", "elapsed time", "seconds", "milliseconds", "millis", "uptime",
                "time since start", "ms", "msec", "millisecond"),
    # GPS and motion.
    "lat_deg": ("gps lat", "gps latitude", "lat", "latitude"),
    "lon_deg": ("gps lon", "gps long", "gps longitude", "lon", "lng", "long", "longitude"),
    "alt_m": ("gps alt", "gps altitude", "alt", "altitude", "ele", "elevation", "height", "galt",
              "g alt"),
    "speed_mps": ("gps speed", "speed gps", "ground speed", "speed over ground", "sog", "speed", "velocity",
                  "spd", "gspd", "g spd"),
    "course_deg": ("gps course", "gps heading", "course over ground", "cog", "course", "bearing", "heading",
                   "hdg", "crs"),
    "vertical_mps": ("vertical speed", "vertical velocity", "vspeed", "climb rate", "climb", "vertical",
                     "vspd", "v spd"),
    "speed_sd_mps": ("speed accuracy", "sacc", "speed sd"),
    "horizontal_sd_m": ("horizontal accuracy", "hacc", "accuracy", "horizontal sd"),
    "hdop": ("hdop",),
    "satellites": ("satellites", "sats", "sat", "num sats", "numsat", "nsat"),
    "fix": ("fix", "gps fix", "fix valid"),
    "ax_mps2": ("ax", "acc x", "accx", "accel x", "acceleration x", "x acceleration"),
    "ay_mps2": ("ay", "acc y", "accy", "accel y", "acceleration y", "y acceleration"),
    "az_mps2": ("az", "acc z", "accz", "accel z", "acceleration z", "z acceleration"),
    "gx_dps": ("gyro x", "gyr x", "gx", "rate x", "roll rate"),
    "gy_dps": ("gyro y", "gyr y", "gy", "rate y", "pitch rate"),
    "gz_dps": ("gyro z", "gyr z", "gz", "rate z", "yaw rate"),
    # Motor. Three kinds of rpm: electrical, of the motor, of the propeller shaft.
    "voltage_v": ("pack voltage", "battery voltage", "batt voltage", "input voltage", "voltage", "volts",
                  "vbat", "volt", "batt"),
    "current_a": ("pack current", "battery current", "batt current", "input current", "current", "amps",
                  "curr"),
    "erpm": ("erpm", "e rpm", "electrical rpm"),
    "motor_rpm": ("motor rpm", "rpm"),
    "rpm": ("shaft rpm", "prop rpm", "propeller rpm"),
    "throttle_pct": ("throttle", "throttle input", "throttle in", "thr"),
    "esc_temp_c": ("esc temp", "esc temperature", "temp esc", "controller temp", "controller temperature",
                   "fet temp"),
    "motor_temp_c": ("motor temp", "motor temperature", "temp motor", "mot temp"),
    "charge_mah": ("charge", "used charge", "capacity used", "used capacity", "capacity", "consumed",
                   "consumption"),
    "cell_min_v": ("lowest cell", "lowest cell voltage", "min cell", "cell min", "min cell voltage"),
}  # fmt: skip
OTHER_LANGUAGES: Final[dict[str, tuple[str, ...]]] = {
    "date": ("datum", "fecha", "data"),
    "clock": ("zeit", "uhrzeit", "zeitstempel", "datum zeit", "datum uhrzeit", "ortszeit",
              "heure", "horodatage", "date heure", "date et heure",
              "hora", "fecha hora", "fecha y hora", "marca de tiempo",
              "ora", "orario", "data ora", "data e ora",
              "tijd", "tijdstip", "tijdstempel", "datum tijd"),
    "elapsed": ("laufzeit", "sekunden", "millisekunden", "temps", "temps ecoule", "secondes",
                "tiempo", "tiempo transcurrido", "segundos", "tempo", "tempo trascorso", "secondi",
                "verstreken tijd", "seconden"),
    "lat_deg": ("breite", "breitengrad", "geografische breite", "latitud", "latitudine", "breedte",
                "breedtegraad"),
    "lon_deg": ("lange", "laenge", "langengrad", "laengengrad", "geografische lange", "longitud",
                "longitudine", "lengte", "lengtegraad"),
    "alt_m": ("hohe", "hoehe", "hauteur", "altitud", "altura", "elevacion", "altitudine", "altezza", "quota",
              "hoogte"),
    "speed_mps": ("geschwindigkeit", "fahrt uber grund", "fahrt ueber grund", "vitesse", "vitesse sol",
                  "vitesse fond", "velocidad", "velocita", "snelheid"),
    "course_deg": ("kurs", "kurs uber grund", "kurs ueber grund", "richtung", "cap", "route fond",
                   "direction", "rumbo", "direccion", "rotta", "direzione", "koers", "richting"),
    "satellites": ("satelliten", "anzahl satelliten", "nombre de satellites", "satelites",
                   "numero de satelites", "satelliti", "numero satelliti", "numero di satelliti",
                   "satellieten", "aantal satellieten"),
    "voltage_v": ("akkuspannung", "batteriespannung", "spannung", "tension batterie", "tension accu",
                  "tension", "voltaje bateria", "tension bateria", "voltaje", "tensione batteria", "tensione",
                  "accuspanning", "spanning"),
    "current_a": ("akkustrom", "batteriestrom", "strom", "stromstarke", "stromstaerke", "courant batterie",
                  "courant", "intensite", "corriente", "intensidad", "corrente", "accustroom", "stroom"),
    "motor_rpm": ("motordrehzahl", "drehzahl", "umdrehungen", "regime moteur", "regime", "tours minute",
                  "tours par minute", "revoluciones motor", "revoluciones", "giri motore", "giri",
                  "regime motore",
                  "motortoerental", "toerental"),
    "rpm": ("wellendrehzahl", "propellerdrehzahl", "regime helice", "revoluciones helice", "giri elica",
            "astoerental", "schroeftoerental"),
    "throttle_pct": ("gas", "gasstellung", "gashebel", "gaz", "accelerateur", "acelerador", "acceleratore",
                     "gashendel", "gasstand"),
    "esc_temp_c": ("reglertemperatur", "temperatur regler", "temperature variateur", "temperature controleur",
                   "temperatura variador", "temperatura regolatore", "temperature esc", "temperatura esc",
                   "temperatur esc", "regelaartemperatuur"),
    "motor_temp_c": ("motortemperatur", "temperatur motor", "temperature moteur", "temperatura motor",
                     "temperatura motore", "motortemperatuur"),
    "charge_mah": ("verbrauchte kapazitat", "verbrauchte kapazitaet", "kapazitat", "kapazitaet", "ladung",
                   "capacite consommee", "capacite", "capacidad consumida", "capacidad",
                   "capacita consumata", "capacita", "verbruikte capaciteit", "capaciteit"),
}  # fmt: skip
# Words that mean another thing in another language, and are read with a fitting unit only.
UNIT_NEEDED: Final = frozenset({"cap", "batt"})
# A bare temperature is the controller's only in a log that is evidently the controller's.
WEAK_NAMES: Final = dict.fromkeys(
    ("temp", "temperature", "tmp", "temperatur", "temperatura", "temperatuur"), "esc_temp_c"
)

SI: Final = (1.0, 0.0)
UNITS: Final[dict[str, dict[str, tuple[float, float]]]] = {
    "time": {
        **dict.fromkeys(("s", "sec", "secs", "seconds"), SI),
        **dict.fromkeys(("ms", "msec", "millis", "milliseconds"), (1e-3, 0.0)),
        **dict.fromkeys(("us", "µs", "μs", "microseconds"), (1e-6, 0.0)),
        "ns": (1e-9, 0.0),
        "min": (60.0, 0.0),
    },
    "angle": {
        **dict.fromkeys(("deg", "°", "degrees", "degree", "@", "grad", "gradi", "grados", "graden"), SI),
        "rad": (57.29577951308232, 0.0),
    },
    "length": {
        **dict.fromkeys(("m", "metres", "meters", "metre", "meter"), SI),
        **dict.fromkeys(("ft", "feet"), (FOOT_M, 0.0)),
        "km": (1000.0, 0.0),
    },
    "speed": {
        **dict.fromkeys(("m/s", "mps", "ms-1"), SI),
        **dict.fromkeys(("km/h", "kmh", "kph", "kmph", "km/u"), (KMH_MPS, 0.0)),
        **dict.fromkeys(("mph", "mi/h"), (MPH_MPS, 0.0)),
        **dict.fromkeys(("kn", "kt", "kts", "knot", "knots"), (KNOT_MPS, 0.0)),
        "ft/s": (FOOT_M, 0.0),
    },
    "acceleration": {
        **dict.fromkeys(("m/s2", "m/s²", "m/s^2", "mps2", "m/s/s"), SI),
        "g": (STANDARD_GRAVITY_MPS2, 0.0),
        "mg": (STANDARD_GRAVITY_MPS2 / 1000.0, 0.0),
    },
    "rate": {
        **dict.fromkeys(("deg/s", "°/s", "dps"), SI),
        "rad/s": (57.29577951308232, 0.0),
    },
    "voltage": {**dict.fromkeys(("v", "volt", "volts"), SI), "mv": (1e-3, 0.0)},
    "current": {**dict.fromkeys(("a", "amp", "amps"), SI), "ma": (1e-3, 0.0)},
    "rpm": {
        **dict.fromkeys(
            ("rpm", "1/min", "min-1", "/min", "u/min", "erpm", "tr/min", "giri/min", "rev/min", "omw/min"), SI
        ),
        "krpm": (1000.0, 0.0),
    },
    # A servo pulse of 1500 µs is neutral, 2000 µs full ahead: common practice, no source.
    "percent": {
        **dict.fromkeys(("%", "pct", "percent"), SI),
        **dict.fromkeys(("us", "µs", "μs"), (0.2, -300.0)),
    },
    "temperature": {
        **dict.fromkeys(("c", "°c", "degc", "ºc", "celsius", "@c"), SI),
        **dict.fromkeys(("f", "°f", "degf", "ºf", "fahrenheit", "@f"), (5.0 / 9.0, -160.0 / 9.0)),
        "k": (1.0, -273.15),
    },
    "charge": {"mah": SI, "ah": (1000.0, 0.0)},
    "number": {"": SI},
}
