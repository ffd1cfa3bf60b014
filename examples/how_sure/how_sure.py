"""How sure are we? A notebook in cells, on an INVENTED site: run, vary, match, trigger levels."""

# %% [markdown]
# # How sure are we? An INVENTED site, from a first run to trigger levels
#
# Open this file as a notebook (each `# %%` is a cell), or run it: `python how_sure.py`. It takes
# the site to start from, on a coarse grid so that it ends in a minute or two: leave GRID out for
# numbers to build on. Every measurement below is invented.

# %%
from pathlib import Path

from wellring.model.notebook import match, open_fields, read_table, run, start_site, vary

WORK = Path("how_sure_results")
GRID = """
[grid]
cell = 8.0
growth = 2.0
sublayer = 8.0

[[points]]
name = "garden"
x = 466080.0
y = 5918010.0
"""
site = start_site(WORK / "site")
site.write_text(site.read_text(encoding="utf-8") + GRID, encoding="utf-8")

# %% [markdown]
# ## 1. The best guess
# One run: answers by name, tables as frames, fields as xarray.

# %%
(first,) = run(site, figures=False, side_studies=False)
for name in ("02-final-dig.dry_margin", "02-final-dig.inflow_total"):
    answer = first.answers.answers[name]
    print(f"{answer.label}: {answer.value:.4g} {answer.unit}")
print(read_table(first.reader, "stages").T)
print(open_fields(first.reader))

# %% [markdown]
# ## 2. What drives it, and with what chance does it fail?
# k is known within a factor of three or so, the joints of the wall hardly at all.

# %%
(WORK / "vary.toml").write_text(
    """
design = "latin hypercube"
runs = 8
limits = { "02-final-dig.inflow_total" = "60 m3/h" }
[[parameters]]
path = "soils.sand.kh"
together = ["soils.sand.kv"]
spread = 2.0
[[parameters]]
path = "walls.0.joint_resistance"
spread = 2.0
""",
    encoding="utf-8",
)
varied = vary(site, plan_file=WORK / "vary.toml", figures=False)
flow = "02-final-dig.inflow_total"
print(varied.frame.describe().T)
for parameter, (low, high) in zip(varied.parameters, varied.swings(flow), strict=True):
    print(f"{parameter.path}: {low * 3600:.1f} to {high * 3600:.1f} m³/h")
for limit, chance in varied.chances().items():
    print(f"{limit}: {chance.text()}")

# %% [markdown]
# ## 3. The first dig was measured: what does it say?
# Two piezometers, the pumps' meter, and one row that is to be foretold: the level next door must
# not fall by more than 2.4 m in the final dig.

# %%
(WORK / "measured.csv").write_text(
    """kind,point,stage,value,error,at_most
head,house next door,before the work,2.50 m,2 cm,
drawdown,house next door,first dig,2.32 m,2 cm,2.4 m
drawdown,garden,first dig,1.51 m,2 cm,
flow,,first dig,74.0 m3/h,3 %,
drawdown,house next door,final dig,,2 cm,2.4 m
drawdown,garden,final dig,,2 cm,
flow,,final dig,,3 %,
""",
    encoding="utf-8",
)
(WORK / "match.toml").write_text(
    """
observations = "measured.csv"
cases = 4
[[parameters]]
path = "soils.sand.kh"
together = ["soils.sand.kv"]
[[parameters]]
path = "walls.0.joint_resistance"
spread = 3.0
""",
    encoding="utf-8",
)
matched = match(site, plan_file=WORK / "match.toml", figures=False)
print(matched.parameter_frame.T)
print(matched.frame[["what", "measured", "computed", "residual", "inside band"]])

# %% [markdown]
# ## 4. What it means for the final dig
# Bands before and after, trigger levels, and what to do next. Trigger levels are a proposal: who
# is responsible for the dig sets them, with a licensed engineer and by local codes.

# %%
print(matched.prediction_frame[["label", "low before", "high before", "low after", "high after"]])
print(matched.trigger_frame.T)
for number, text in enumerate(matched.advice, 1):
    print(f"{number}. {text}")
