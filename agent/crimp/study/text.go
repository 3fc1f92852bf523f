package study

// The words of the report; figures in braces are filled in from the table.

const opening = `
# What it costs to correct the setting

A simulated shop makes crimps with one press. Each set-up of a cage has an offset between setting and diameter that
nobody knows beforehand; each piece scatters about it. After a piece is measured, somebody or something chooses the
setting of the next one. This study counts what that costs. The metal and the caliper are simulated; judging,
estimating, learning and advising is the code of the agent itself, package ` + "`agent/crimp`" + `.

Everything is in counts of the setting, 1 count = 0.001 in. Limits are 5 counts either way. An oversize end gets one
second stroke, an undersize end is scrap, and so is one that is outside after its second stroke. A second stroke costs
1, scrap costs 3 or 20, a change of the setting nothing. **Figures are the cost of 100 good pieces, in second strokes,
± one standard error.** All policies meet the same chances. Each figure comes from about %d,000 pieces; 0.00 ± 0.00 is
no loss or hardly any in them.

| word | what it is |
|---|---|
| spread | how much the offset differs from set-up to set-up, standard deviation; its mean is 0 where nothing else is said |
| noise | how much pieces differ at one setting, standard deviation; a second stroke has a noise of its own |
| drift | random walk of the offset, standard deviation a stroke |
| wear | steady growth of the offset a stroke |
| caliper | standard deviation of an error of the caliper that a whole set-up shares; the mean of a piece's readings scatters by 0.3 besides |

| policy | what it does |
|---|---|
| leave it alone | always the sheet's setting |
| whole error | moves by the whole error of the latest first crimp |
| harmonic rule | moves by a half, a third, a quarter … of it, in whole counts, as by hand |
| ours, nothing learned | the agent as installed, in its first set-ups: noise of 1 count, nothing known of the offset |
| ours, told | the agent, configured with the true spread, noise and drift (wear is not in its model) |
| ours, told, dead band | the same, with a dead band of 1 count |
| ours, learned | the agent as installed, after %d set-ups from which it learned |
| … aim 3:1, aim 20:1 | the same, told the costs: it aims beside the target |

Drawn: [study.svg](study.svg). All figures: [study.csv](study.csv). They are made, the same byte for byte, by

    go test ./agent/crimp/study -run TestStudy -update
`

const readingText = `
**Leaving it alone** is right only where set-ups do not differ. With a spread of 3 it costs {leave}, ours {told} (scrap
at 20: {leave 20}, ours learned and aiming {leave aim 20}). With a spread of 0 and a noise of 2 nothing is cheaper:
{calm leave}; ours told so costs the same, {calm told}, ours that had to learn it {calm learned}, and aiming {calm aim}.

**Moving by the whole error** chases noise. On noise alone it doubles the variance (exactly 2, checked on the funnel
experiment); with a noise of 2 and no spread it costs {calm whole} against {calm told}. It also turns the setting after
{whole changes} of 100 strokes; ours {told changes}, the harmonic rule {harmonic changes}, ours with a dead band of one
count {hold changes}, for a cost of {hold} instead of {told}.

**The harmonic rule** is good in short set-ups without a drift: with 6 pieces {short harmonic}, ours told
{short told}. It stops to listen: with a drift of 0.3 over 50 pieces it costs {long harmonic}, ours told {long told} and
learned {long learned}.

**Aiming by the cost** pays where the noise is small beside the limits: told the spread of 3, scrap at 20, {told 20} becomes
{told aim 20}; scrap at 3, {told 3} becomes {told aim 3}. Most of that is the first piece of a set-up, which comes from
the large side.

**Learning** is worth most where a cage is off by the same amount each time: 3 counts off, ours learned {off learned},
the harmonic rule {off harmonic}.

Where ours does **not** win:

- **Noise of 2 counts against limits of 5, and the costs told.** Aiming high brings more second strokes, and after
  such noise a second stroke fails too often: scrap at 20, spread 1, told {rough told} at the target, {rough aim} by
  the cost. See "The second stroke". Such a process is not capable, and no way of setting mends that.
- **The price of learning.** Where the cage's mean offset is exactly what the sheet says, having to learn it costs:
  6 pieces, spread 3, learned {short learned}, told {short told}, harmonic rule {short harmonic}; with the aim 3:1
  learned {short aim}.
- **Set-ups of 2 pieces** teach nothing to the agent as it is, since it wants 3: scrap at 20, learned {two learned}, as
  with nothing learned {two new}; told {two told}.
- **A sudden shift** of 4 counts in mid-run: the whole error follows at once, {shift whole}; ours told nothing of it
  {shift told}, the harmonic rule {shift harmonic}. Ours learned takes the shifts for a drift, {shift learned}, at
  {shift changes} changes in 100 strokes.
- **Wear of 0.2 a stroke**, which is not in its model: told {wear told}, learned {wear learned}, nothing learned
  {wear new}. What is learned of the first offset is the mean of up to 8 pieces, and by then the cage has worn.
- **Outliers** cost everybody about the same: told {outliers told}, learned {outliers learned}, harmonic rule
  {outliers harmonic}. Nothing in the estimate takes an outlier out.
`

const againstIntroduction = `
In how many of the 432 presses of the grid ours, learned and aiming by the cost, is cheaper or dearer than another
policy by more than three standard errors of the paired difference and three scrapped ends: spread 0, 1, 3, 10; noise
0.5, 1, 2; drift 0, 0.1, 0.3; wear 0, 0.05; caliper 0, 0.5; 6, 20, 50 pieces a set-up. "2.00 of 10.00" means 12.00
instead of 10.00.
`

const departures = `
Each press departs in one respect from the first: spread 3, noise 1, drift 0.1, 20 pieces a set-up. Outliers: 5 % of
the strokes have five times the noise. Shift: at half of the pieces, up or down. "Told" is what ours is configured
with, where that is wrong; ours learned was told nothing. The drift of 0.3 goes over 50 pieces. The cage that is off
has a spread of 1.
`

const secondStroke = `
Noise 2, drift 0.1, 20 pieces a set-up. How much of the noise belongs to the piece, and is still there at its second
stroke, and how much is new with each stroke, nobody has published; in all other tables it is all new, the worst case.
The agent closes an oversize piece by the piece's own whole deviation, right where the noise is the piece's own. Where
it is not, this is the whole-error rule once more. "Halfway" is not what the agent does: it closes by the mean of the
piece's own deviation and of what the set-up's estimate expects at that setting.
`

const firstSetUps = `
A cage that comes out 3 counts large, spread 1, noise 1, drift 0.1, 20 pieces a set-up.
`

const limits = `
- Spread, noise, drift and wear are invented. They cover what seemed likely; no public measurement was found.
- Everything is normal but for the outliers, and set-ups do not depend on one another.
- Pieces are measured without fail, the advice is followed without fail, and nothing is out of round.
- Changing the setting costs nothing here. Who pays for it sets a dead band.
- One specification for each cage, one width of limits. Half the limits is the same as twice all other figures, but for
  the count of the setting, which stays.
`
