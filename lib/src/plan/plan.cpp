// SPDX-License-Identifier: Apache-2.0
#include "plan/plan.hpp"

namespace ringwall {

// What is asked for, and why, follows from what the stages need: raw values for transmission, a scale in the
// board's plane, one repeat for the spread that no single picture shows. The form's rows are common practice,
// no source.
std::string general_plan() {
    return R"(PICTURES TO TAKE OF A PRINTED BOARD - page for the operator of the X-ray cabinet

These pictures will be measured: holes to about 0.01 mm, and the copper-free ring round each. They may
be published, and somebody will try to repeat every number. Please take them as below, sign, and send
this page back with the files.

SAFETY FIRST
  X-ray work is for trained people, in a shielded cabinet with working interlocks. Local rules come first.
  The dose can harm memory chips and sensors: tell the sender before long or repeated exposures.
  Recalled parts stay out of use, whatever the pictures show. Do not power the boards.
  Boards must be disconnected, and capacitors discharged and checked, before anyone handles them.

FOR EVERY BOARD (old and revised: the same settings, filter, distances and magnification)
  [ ] 1  Face-on: beam through the flat of the board, board flat on the table (tilt under 1 degree),
         the holes in question near the middle of the picture. Pixel at the board 0.02 to 0.03 mm.
  [ ] 2  The same once more after taking the board out and placing it again (shows the spread).
  [ ] 3  The same with the screws in place, and the same without them.
  [ ] 4  Edge-on: beam along the board, near a corner, so that the path through the board is short.
  [ ] 5  If the cabinet makes CT volumes: one of the area round the screw, voxel 0.02 mm or less.

WITH EVERY SETTING, ONCE
  [ ] 6  Flat: the open beam without board, same kV, current, filter and distances, not saturated.
  [ ] 7  Dark: no beam, same exposure time.

IN THE PICTURE
  [ ] 8  A scale object in the plane of the board, not on the table under it: a pin gauge, gauge block
         or drilled plate of certified size, along x and along y. Write its size and number below.
  [ ] 9  A side marker (lead letter or wire) that tells top from bottom and is not mirrored.

FILES
  [ ] 10 Raw, linear detector values, 16 bit (TIFF or DICOM). No sharpening, edge enhancement, noise
         filter, tone curve, contrast stretch, inversion or burned-in text. No JPEG, no screenshot.
  [ ] 11 Nothing saturated: the open beam below 90 % of full scale, the densest part above the dark level.
  [ ] 12 Average frames rather than filter; write down how many.
  [ ] 13 File names that tell board, side and shot. Do not rename after signing.

FORM (one line a setting)
  board / revision / unit  ______________________________________________________________________
  seal or packing before   ____________________________  after  _________________________________
  cabinet, detector        ______________________________________________________________________
  last calibration on      ____________________________  by  ____________________________________
  tube voltage             ________ kV    current ________ uA    focal spot ________ µm
  filter (metal, mm)       ______________________________________________________________________
  source to board plane    ____________ mm    source to detector ____________ mm
  detector pixel           ____________ mm    pixel at the board ____________ mm
  frames averaged          ____________       exposure a frame   ____________ ms
  processing applied       [ ] none   [ ] flat field   [ ] other: ________________________________
  scale object, certificate ______________________________________________________________________
  side facing the source   [ ] top   [ ] bottom      marker seen: _________________________________
  files (name, shot)       ______________________________________________________________________
                           ______________________________________________________________________
  taken on (date, time)    ____________________________
  name, signature          ______________________________________________________________________

What the pictures cannot show, however good: which copper plane is live, cracks thinner than the blur,
and anything about boards that were not in the cabinet.
)";
}

} // namespace ringwall
