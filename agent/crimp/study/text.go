package study

// The words of the report; figures in braces are filled in from the table.

const opening = `
# What it costs to correct the setting

A simulated shop makes crimps with one press. Each set-up of a cage has an offset between setting and diameter that
nobody knows beforehand, each piece scatters about it, and after each piece somebody or something chooses the setting of
the next one. The metal and the caliper are simulated; judging, estimating, learning and advising is the code of the
agent itself, package ` + "`agent/crimp`" + `. **Figures are what 100 good pieces cost, counted in second strokes**: an end that
is scrap costs as much as 3 of them, or 20. Lengths are in counts of the setting, 1 count = 0.001 in; limits are 5
counts either way.

## In short

- **Cost**, scrap at 3 (at 20), where set-ups differ by 3 counts and pieces by 1: setting left alone {leave} ({leave 20}),
  moved by the whole error {whole} ({whole 20}), by the harmonic rule {harmonic} ({harmonic 20}), ours {learned} ({learned 20}),
  ours told the costs {aim} ({aim 20}).
- **Ours wins**, told the costs, where pieces differ by 1 count or less: dearer than any of these rules in none of
  {small presses} presses, cheaper than all of them in {all three} ({all three 20}). Told none, it wins where a cage is
  3 counts off each time: {off learned}, the harmonic rule {off harmonic}.
- **Ours ties**, told no costs, with the harmonic rule: cheaper in {tie cheaper} of those presses, dearer in
  {tie dearer}, by {tie worst} at most.
- **Ours loses** where pieces differ by 2: to the setting left alone if set-ups do not differ, {calm learned} against
  {calm leave}; and by aiming, if the costs it is told leave out the second strokes that fail, scrap at 20: {rough aim}
  aimed, {rough learned} not, {rough careful} if told them. Learning what the sheet had right costs too: set-ups of one
  piece {one learned}, nothing learned {one new}.
- **Every stroke has a noise of its own here: the worst case.** In a real press most of the scatter belongs to the piece,
  its wall and ferrule. Then closing a piece one to one by its own deviation is right, and aiming pays with a noise of 2
  as well: {own aim} instead of {own learned}.

![Cost of 100 good pieces over the spread of the set-ups](study.svg)

## The words

| word | what it is |
|---|---|
| spread | how much the offset differs from set-up to set-up, standard deviation; its mean is 0 where nothing else is said |
| noise | how much pieces differ at one setting, standard deviation |
| piece's own share | how much of the noise's variance belongs to the piece and is still there at its second stroke; the rest is new with each stroke. 0 where nothing else is said |
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
| ours, learned | the agent as installed, after {settled} set-ups from which it learned |
| … aim 3:1, aim 20:1 | the same, told the costs of scrap and of a second stroke: it aims beside the target |

An oversize end gets one second stroke, an undersize end is scrap, and so is one that is outside after its second
stroke. A second stroke costs 1, scrap costs 3 or 20, also after a second stroke, a change of the setting nothing.
Figures have one standard error after ±. All policies meet the same chances. Each figure comes from about {thousands},000
pieces; 0.00 ± 0.00 is no loss or hardly any in them. All figures: [study.csv](study.csv). They are made, the same byte
for byte, by

    go test ./agent/crimp/study -run TestStudy -update

## What it says
`

const readingText = `
**Leaving it alone** is right only where set-ups do not differ. With a spread of 3 it costs {leave}, ours learned
{learned} and told the costs {aim}; scrap at 20: {leave 20}, {learned 20} and {aim 20}. With a spread of 0 and a noise
of 2 nothing is clearly cheaper: {calm leave}; ours told so costs the same, {calm told}, ours that had to learn it
{calm learned}, and aiming {calm aim}.

**Moving by the whole error** chases noise. On noise alone it doubles the variance (exactly 2, checked on the funnel
experiment); with a noise of 2 and no spread it costs {calm whole} against {calm told}. It also turns the setting after
{whole changes} of 100 strokes; ours told {told changes}, the harmonic rule {harmonic changes}, and ours told, with a
dead band of one count, {hold changes}, at a cost of {hold} against {told} without one.

**The harmonic rule** is good in short set-ups without a drift: with 6 pieces {short harmonic}, ours told
{short told}. Then it stops listening: with a drift of 0.3 over 50 pieces it costs {long harmonic}, ours told
{long told} and learned {long learned}.

**Aiming by the cost** pays where second strokes seldom fail. With a spread of 3 and a noise of 1, scrap at 20, learned
{learned 20} becomes {aim 20} and told {told 20} becomes {told aim 20}; scrap at 3, {learned} becomes {aim} and {told}
becomes {told aim}. Most of that is saved on the first pieces of a set-up, which come from the large side: with a drift
of 0.3, scrap at 20, a set-up of 6 pieces saves {saved short} second strokes, one of 50 saves {saved long}.

**Learning** is worth most where a cage is off by the same amount each time: 3 counts off, ours learned {off learned},
the harmonic rule {off harmonic}. It begins with 15 first crimps, at most three of each set-up counted: after 5 set-ups
of three pieces or more, 8 of two, 15 of one.

Where ours does **not** win:

- **Noise of 2 counts, new with each stroke, and bare costs told.** Aiming high brings more second strokes, and of those
  {rough fails} in 100 fail: scrap at 20, spread 1, learned {rough learned} at the target, {rough aim} by the costs,
  {rough careful} by costs that count the failures. Where half of the noise is the piece's own, {half learned} and
  {half aim}; where all is, {own learned} and {own aim}. Such a process is not capable, and no way of setting mends
  that.
- **The price of learning.** Where the cage's mean offset is exactly what the sheet says, having to learn it costs. Told
  no costs, with a noise of 1 or less, ours learned is dearer than with nothing learned in {price dearer} of
  {small presses} presses and cheaper in {price cheaper}: 6 pieces, spread 3, learned {short learned}, nothing learned
  {short new}, told {short told}, harmonic rule {short harmonic}. The aim 3:1 makes up for it, {short aim}.
- **Set-ups of one or two pieces** teach too, but pay the same price, and nearly all depends on their first setting. Two
  pieces, scrap at 3: learned {two learned}, nothing learned {two new}; one piece {one learned} and {one new}. Told the
  costs they gain most: scrap at 20, two pieces {two aim} instead of {two new 20}, one piece {one aim} instead of
  {one new 20}. Told the spread besides, {two told} and {one told}. Set-ups of one piece never teach the noise.
- **A sudden shift** of 4 counts in mid-run: the whole error follows at once, {shift whole}; ours told nothing of it
  {shift told}, the harmonic rule {shift harmonic}. Ours learned takes the shifts for a drift and keeps up,
  {shift learned}, at {shift changes} changes in 100 strokes.
- **Wear** is not in its model. Wear of 0.2 a stroke: told {wear told}, nothing learned {wear new}, learned
  {wear learned}; without wear {assumed told}, {assumed new} and {assumed learned}, so that most of what learning costs
  there is the price above. The first offset comes from the first 3 pieces, before the cage has worn much. Learning takes
  the wear for a drift, with {wear changes} changes in 100 strokes instead of {wear told changes}. Under a long wear
  aiming high comes on top of it: with a noise of 2, all of it the piece's own, a wear of 0.05 and 50 pieces the aim 3:1
  is dearer than the target by up to {worn}.
- **Outliers** cost everybody about the same but the whole error, {outliers whole}: told {outliers told}, learned
  {outliers learned}, harmonic rule {outliers harmonic}. Nothing in the estimate takes an outlier out.
`

const againstIntroduction = `
In how many presses of the grid ours is cheaper than another policy, where no difference is seen, and where it is
dearer, by more than three standard errors of the paired difference and three scrapped ends; "2.00 of 10.00" is the
worst, 12.00 instead of 10.00. The grid has {presses} presses: spread 0, 1, 3, 10; noise 0.5, 1, 2; drift 0, 0.1, 0.3;
wear 0, 0.05; caliper 0, 0.5; 6, 20, 50 pieces a set-up; with a noise of 2 the piece's own share 0, ½ and 1.
`

const departures = `
Each press departs in one respect from the first: spread 3, noise 1, drift 0.1, 20 pieces a set-up, the press of the
tables above with other chances. Outliers: 5 % of the strokes have five times the noise. Shift: at half of the pieces,
up or down. "Told" is what ours is configured with, where that is wrong; ours learned was told nothing. The drift of
0.3 goes over 50 pieces. The cage that is off has a spread of 1.
`

const secondStroke = `
The agent closes an oversize piece one to one by the piece's own deviation: the rule of the trade. How much of the noise
belongs to the piece nobody has published. In a real press most of the scatter does, to its wall and ferrule (common
experience, no source): then it is still there at the second stroke, and that rule is right. The base model of this
study gives every stroke noise of its own. Then a piece that is large by chance is closed too far, which is the
whole-error rule once more. That is the worst case, and all tables but this one and the grid's rest on it.

Ours, learned, drift 0.1, 20 pieces a set-up. **Fail**: of 100 second strokes at the target, those after which the end
is scrap. **Aim**: told the bare costs, scrap 3 or 20 and second stroke 1. **Aim, failures told**: told the same scrap,
and for a second stroke what it costs with those that fail, 1 + share that fails × scrap, as counted at the target.
`

const secondReading = `
**Aiming by the cost pays where second strokes seldom fail.** With half of the noise or more the piece's own, and no
wear, it nowhere costs more than the target. With a noise of 2, new with each stroke, it can; there the cost of a second
stroke has to be told with what it costs when it fails, and then the aim costs no more than the target in any press of
this table. A shop can count it: so many second strokes, so many of them scrap. For {rough fails} scrapped of 100 and
a scrap_cost of 20, stroke_cost is not 1 but {rough told cost}.

An outlook, not a promise: closing only halfway to what the set-up's own estimate expects costs less where the noise is
not the piece's own (scrap at 20, spread 1, noise 2, share 0: {rough halfway} instead of {rough aim} with the aim).
`

const firstSetUps = `
A cage that comes out 3 counts large, spread 1, noise 1, drift 0.1, 20 pieces a set-up.
`

const limits = `
- Spread, noise, drift, wear and the piece's own share are invented. They cover what seemed likely; no public
  measurement was found.
- Everything is normal but for the outliers, and set-ups do not depend on one another.
- Pieces are measured without fail, the advice is followed without fail, and nothing is out of round.
- No setting is told wrong. Learning leaves such mistakes out; what that is worth is not simulated.
- Changing the setting costs nothing here. Who pays for it sets a dead band.
- One specification for each cage, one width of limits. Half the limits is the same as twice all other figures, but for
  the count of the setting, which stays.
`
