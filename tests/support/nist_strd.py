"""NIST Statistical Reference Datasets: data and certified values.

Source: https://www.itl.nist.gov/div898/strd/. Analysis of variance and Norris as the files stand in SciPy


17.1 (``scipy/stats/tests/data/nist_anova`` and ``nist_linregress``); the generated SmLs sets by their rule,
which was held against all nine of those files line by line. Longley as in Apache Commons Math
(``OLSMultipleLinearRegressionTest``) and statsmodels' ``datasets/longley``; Wampler 1, 2 and 4 as in Apache
Commons Math's and LabPlot's tests, which agree with each other. Read on 2026-11-25.
"""

from __future__ import annotations

import numpy as np

from telemetry.core.frames import FloatArray

SIRSTV = [
    [196.3052, 196.1240, 196.1890, 196.2569, 196.3403],
    [196.3042, 196.3825, 196.1669, 196.3257, 196.0422],
    [196.1303, 196.2005, 196.2889, 196.0343, 196.1811],
    [196.2795, 196.1748, 196.1494, 196.1485, 195.9885],
    [196.2119, 196.1051, 196.1850, 196.0052, 196.2090],
]
ATMWTAG_LAST_DIGITS = [  # 107.868 and then these
    "1568 1465 1572 1785 1446 1903 1526 1494 1616 1587 1519 1486 1419 1569 1508 1672 1385 1518 1662"
    " 1424 1360 1333"
    " 1610 1477",
    "1079 1344 1513 1197 1604 1385 1642 1365 1151 1082 1517 1448 1198 1482 1334 1609 1101 1512 1469"
    " 1360 1254 1261"
    " 1450 1368",
]
ATMWTAG = [[float(f"107.868{digits}") for digits in group.split()] for group in ATMWTAG_LAST_DIGITS]


def smls(replicates: int, leading: str) -> list[list[float]]:
    """Simon and Lesage's generated sets: nine treatments around .4, .3 and .5 in turn, ± 0.1."""
    middles = [4] + [3 if treatment % 2 == 0 else 5 for treatment in range(2, 10)]
    return [
        [float(f"{leading}.{tenth}") for tenth in [m, *[m - 1, m + 1] * ((replicates - 1) // 2)]]
        for m in middles
    ]


# name: groups, between SS, within SS, F, R², certified; digits that double precision allows.
ANOVA = {
    "SiRstv": (SIRSTV, 5.11462616e-2, 2.16636560e-1, 1.18046237440255, 1.90999039051129e-1, 12.0),
    "AtmWtAg": (
        ATMWTAG,
        3.63834187500000e-9,
        1.04951729166667e-8,
        15.9467335677930,
        2.57426544538321e-1,
        9.0,
    ),
    "SmLs01": (smls(21, "1"), 1.68, 1.80, 21.0, 4.82758620689655e-1, 13.0),
    "SmLs02": (smls(201, "1"), 16.08, 18.0, 201.0, 4.71830985915493e-1, 13.0),
    "SmLs03": (smls(2001, "1"), 160.08, 180.0, 2001.0, 4.70712773465067e-1, 13.0),
    "SmLs04": (smls(21, "1000000"), 1.68, 1.80, 21.0, 4.82758620689655e-1, 9.0),
    "SmLs05": (smls(201, "1000000"), 16.08, 18.0, 201.0, 4.71830985915493e-1, 9.0),
    "SmLs06": (smls(2001, "1000000"), 160.08, 180.0, 2001.0, 4.70712773465067e-1, 9.0),
    # 1000000000000.4 is stored to the nearest double, 2e-5 away; no program can do better from there.
    "SmLs07": (smls(21, "1000000000000"), 1.68, 1.80, 21.0, 4.82758620689655e-1, 3.0),
    "SmLs08": (smls(201, "1000000000000"), 16.08, 18.0, 201.0, 4.71830985915493e-1, 3.0),
    "SmLs09": (smls(2001, "1000000000000"), 160.08, 180.0, 2001.0, 4.70712773465067e-1, 3.0),
}

NORRIS = np.array(
    [
        (0.1, 0.2), (338.8, 337.4), (118.1, 118.2), (888.0, 884.6), (9.2, 10.1), (228.1, 226.5),
        (668.5, 666.3),
        (998.5, 996.3), (449.1, 448.6), (778.9, 777.0), (559.2, 558.2), (0.3, 0.4), (0.1, 0.6),
        (778.1, 775.5),
        (668.8, 666.9), (339.3, 338.0), (448.9, 447.5), (10.8, 11.6), (557.7, 556.0), (228.3, 228.1),
        (998.0, 995.8), (888.8, 887.6), (119.6, 120.2), (0.3, 0.3), (0.6, 0.3), (557.6, 556.8),
        (339.3, 339.1),
        (888.0, 887.2), (998.5, 999.0), (778.9, 779.0), (10.2, 11.1), (117.6, 118.3), (228.9, 229.2),
        (668.4, 669.1), (449.2, 448.9), (0.2, 0.5),
    ]
)  # fmt: skip

LONGLEY = np.array(
    [
        (60323, 83.0, 234289, 2356, 1590, 107608, 1947), (61122, 88.5, 259426, 2325, 1456, 108632, 1948),
        (60171, 88.2, 258054, 3682, 1616, 109773, 1949), (61187, 89.5, 284599, 3351, 1650, 110929, 1950),
        (63221, 96.2, 328975, 2099, 3099, 112075, 1951), (63639, 98.1, 346999, 1932, 3594, 113270, 1952),
        (64989, 99.0, 365385, 1870, 3547, 115094, 1953), (63761, 100.0, 363112, 3578, 3350, 116219, 1954),
        (66019, 101.2, 397469, 2904, 3048, 117388, 1955), (67857, 104.6, 419180, 2822, 2857, 118734, 1956),
        (68169, 108.4, 442769, 2936, 2798, 120445, 1957), (66513, 110.8, 444546, 4681, 2637, 121950, 1958),
        (68655, 112.6, 482704, 3813, 2552, 123366, 1959), (69564, 114.2, 502601, 3931, 2514, 125368, 1960),
        (69331, 115.7, 518173, 4806, 2572, 127852, 1961), (70551, 116.9, 554894, 4007, 2827, 130081, 1962),
    ]
)  # fmt: skip

WAMPLER4_Y = np.array(
    [
        75901, -204794, 204863, -204436, 253665, -200894, 214131, -185192, 221249, -138370, 315911,
        -27644, 455253,
        197434, 783995, 608816, 1370781, 1303798, 2205519, 2408860, 3444321,
    ],
    dtype=float,
)  # fmt: skip


def _fifth(x: FloatArray) -> FloatArray:
    return np.asarray(np.vander(x, 6, increasing=True))


_X = np.arange(21.0)
# name: regressors, values, certified estimates, their standard deviations, residual SD; digits.
REGRESSION = {
    "Norris": (
        np.column_stack([np.ones(36), NORRIS[:, 1]]),
        NORRIS[:, 0],
        [-0.262323073774029, 1.00211681802045],
        [0.232818234301152, 0.429796848199937e-3],
        0.884796396144373,
        12.0,
    ),
    "Longley": (
        np.column_stack([np.ones(16), LONGLEY[:, 1:]]),
        LONGLEY[:, 0],
        [
            -3482258.63459582, 15.0618722713733, -0.358191792925910e-1, -2.02022980381683,
            -1.03322686717359,
            -0.511041056535807e-1, 1829.15146461355,
        ],
        [
            890420.383607373, 84.9149257747669, 0.334910077722432e-1, 0.488399681651699, 0.214274163161675,
            0.226073200069370, 455.478499142212,
        ],
        304.854073561965,
        10.0,
    ),
    "Wampler1": (_fifth(_X), _fifth(_X).sum(axis=1), [1.0] * 6, [0.0] * 6, 0.0, 9.0),
    "Wampler2": (
        _fifth(_X),
        np.array([sum(int(x) ** k * 10 ** (5 - k) for k in range(6)) / 1e5 for x in _X]),
        [1.0, 0.1, 0.01, 0.001, 0.0001, 0.00001],
        [0.0] * 6,
        0.0,
        11.0,
    ),
    "Wampler4": (
        _fifth(_X),
        WAMPLER4_Y,
        [1.0] * 6,
        [215232.624678170, 236355.173469681, 77934.3524331583, 10147.5507550350, 564.566512170752,
        11.2324854679312],
        236014.502379268,
        7.0,  # of ones among standard deviations of 2e5: twelve digits of what the values tell
    ),
}  # fmt: skip
