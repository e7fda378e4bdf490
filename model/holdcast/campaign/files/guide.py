"""The guide that a new campaign begins with: safety first, then the test day, then the columns."""

__all__ = ["GUIDE"]

GUIDE = """\
# Logging a campaign of anchor tests

## First: safety on the water

- **Stand clear of a loaded rode.** Rope, chain or a fitting that parts flies back along its line and can
  maim or kill. Nobody stands in line with the rode, in a bight of it, or over it. Watch it from the side.
- Never load gear beyond its working load. The weakest part counts: shackle, swivel, load cell, cleat,
  splice, windlass. A windlass is not made to take the pull: use a strong point and a snubbing line.
- Agree the largest load for the day before the first pull, and stop there. That is a result too
  (`stopped_by` = `boat_limit`, `gear` or `safety`).
- Life jackets for everybody on board. Gloves off near a turning drum; long hair, cords and sleeves tied.
- One person steers, one watches the load and the rode, and both know the word for *stop*.
- Have a way to let go under load, and a knife at hand. Never free a loaded rode with your fingers.
- Follow local rules: where anchoring is allowed, protected seabeds, cables and pipes, channels, other
  boats' anchors. Show the signals that your rules ask for.
- Stay home in bad weather. Keep room to leeward. Tell somebody ashore when you will be back.

What comes out is a typical test pull in one place: no safety factor and no guarantee. Where lives or
class rules depend on an anchor, follow the maker's rules, local rules and a qualified person's advice.

## A test day

1. Set the load cell to zero before the rode is loaded, and note which instrument it is.
2. Note depth, rode paid out and the height of the bow roller above the water.
3. Lower the anchor, pay out, and let the boat settle. Note the distance to set if you can see it.
4. Raise the load in steps. Hold each step still, half a minute or so, before you write it down.
5. Stop when the anchor lets go or runs, or when you reach the agreed largest load. Write down why.
6. Pull again on fresh ground, not in the old furrow. Three pulls on one day share tide, spot and rigging:
   another day (another *visit*) tells more than a fourth pull.
7. Write everything down, also what went wrong. A fouled pull stays in the log, with a reason in `exclude`.

## What was held, and what was not

A pull is an interval. `held` is the highest load that it held at rest. `released` is the load at which
it let go or ran **after that**. The truth lies between the two.

| what happened | `held_kn` | `released_kn` | `stopped_by` |
|---|---|---|---|
| held 2.0, let go while going to 2.5 | 2.0 | 2.5 | `anchor` or blank |
| let go at a reading you trust, 2.3 | 2.3 | 2.3 | `anchor` or blank |
| held all that the boat could pull, 4.0 | 4.0 | blank | `boat_limit` |
| never held; ran along at 0.6 | blank | 0.6 | `anchor` or blank |
| never dug in, no load read | blank | blank | blank, and `no` in `set` |
| fouled on an old chain | what you read | what you read | say so in `exclude` |

Short drags while the anchor digs in are not releases. Do not write the middle of an interval.

## The files

Each file has one filled example row. Read it, then delete it; delete the examples of all files together.
A blank cell means not measured, or not so. Never write 0 for *not measured*. Units end the column's name:
`mass_kg` may be `mass_lb`; forces `_n _kn _kgf _lbf`; lengths `_m _ft _mm _in`; areas `_cm2 _m2 _in2`;
speeds `_kt _mps`; strengths `_kpa _psf`; chain `_kg_per_m _lb_per_ft`. Numbers have no thousands
separators. Columns of your own (price, finish) ride along and are not used;
those of anchors and seabeds stand at the end of cells.csv.

### anchors.csv: one row a configuration

- `anchor`: its name, used once. A bolt-on part on or off makes another anchor of the same `design`.
- `design`: one geometry in any size. Blank: a design of its own.
- `form`: `twin_fluke`, `scoop`, `plough`, `claw`, `stock`, `grapnel`, `stockless` or `other`.
- `mass_kg`: weigh it; do not copy the label.
- `tip_load_kg` (or `tip_fraction`): **how to weigh it.** Stand the anchor on a hard floor in the pose in
  which it begins to set. Put a scale under the fluke's tip and a block of the same height under the
  other point that touches the floor. Read the scale when all is still; three times, lifting the anchor
  between. `tip_load_kg` is that reading; `tip_fraction` is the reading over the mass (0.35, not 35).
- `fluke_area_m2`: area of the flukes seen square on. Draw round them on paper and count squares.
- `fluke_angle_deg`: between shank and fluke. A fluke set at two angles makes two rows of one `design`.
  `shank_length_m`: shackle hole to crown. `shackle_in`: bow shackle's size, also as `3/8`.
- `flag_NAME`: `yes` or `no` for any feature, such as `flag_roll_bar`.
- `source` (bought, lent, given) and `measured_by`: readers will ask.

### seabeds.csv: one row a seabed

- `soil`: the main part: `clay`, `silt`, `sand`, `gravel`, `cobble`, `rock`. `secondary`: the next one.
- `strength`, clay and silt: `extremely_low`, `very_low`, `low`, `medium`, `high`, `very_high`,
  `extremely_high`; the others: `very_loose`, `loose`, `medium_dense`, `dense`, `very_dense`.
- `strength_scheme`: `iso_14688_2` unless you use the words of `bs_5930` or `terzaghi_peck`.
- `strength_basis`: how you know: `guess`, `grab`, `probe`, `vane`.
- `undrained_strength_kpa`, `friction_angle_deg`: when measured; they count before the class.
- `cover`: what lies on top: `none`, `weed`, `shell`, `cobble`. `site`: where, as exactly as you like to say.
- `travel_h`, `setup_h`, `pull_h`: hours to get there, to get ready and for one pull, to plan a day.

### trials.csv: one row a test

- `trial`: any name, used once. `anchor`, `seabed`: as in their files. `test`: `pull`, `reset`, `veer`.
- `date`: 2024-05-31. `visit`: blank means the date; name it if you went twice in a day.
- `held_kn`, `released_kn`, `stopped_by`: above.
- `load_at`: `bow` or `anchor`, where the load was read.
- `speed_kt`: drag speed at `released`.
- `scope`, or `rode_length_m`, `depth_m` and `bow_height_m`: rode over depth plus bow height.
- `rode`: a name in rodes.csv; or `chain_kg_per_m` and `chain_length_m` here.
- `drag_m`: distance to set. `hold_s`: time held. `soak_h`: time left in the ground before the pull.
- `set`: whether a pull's anchor dug in at all, `yes` or `no`. `no`: it slid, skated or tumbled; write the
  load it slid at in `released`, if you read it. Blank: not said.
- `attempts`, `successes`, `reversal_deg`: for a reset. `veer_deg`, `veer_held_deg`: for a veer; the
  second stays blank when it held all the way.
- `exclude`: a reason leaves the row out; blank keeps it. `note`, `photo`: carried along.

### rodes.csv, instruments.csv, campaign.toml: if you like

The rode's chain and its weight; the load cell's last calibration and its error; title, author, licence
and the boat. In campaign.toml a line that begins with # is not read.

### One workbook instead

All of it may stand in one spreadsheet workbook (.xlsx): a sheet for each file, named without its ending
(anchors, seabeds, trials, ...). A sheet `campaign` has a key in the first column and its value in the
second: title, units, boat.bow_height_m. Results then go beside the workbook.

## Then

Check the log with `holdcast check` and the name of the folder or workbook: it lists every slip with its
row, and changes nothing.
"""
