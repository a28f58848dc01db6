// Stepped-lap joint: cross-section for plane analysis, all lengths in mm.
//
//              x = 0
//        +-------+:+-----------------------------------------------+
//        |       |:|           upper                               |
//        |       |:+--------------+                                |
//        |       | :::: tread 1 ::|                                | loaded
//        |       +--------------+:|                                |  end
// gripped|                      |:+--------------+                 |
//  end   |           lower      | :::: tread 2 ::|                 |
//        |                      +--------------+:| riser 3         |
//        +-------------------------------------+:+-----------------+
//                                            x = L
//
// Both adherends are flush, y = 0 at mid-thickness. The middle of the adhesive
// is a stair of treads and risers from the top surface to the bottom surface;
// the adhesive is the band of half the bondline's thickness to either side. The
// first and last riser are the butt ends.
//
// Surfaces: "lower", "upper" (adherends), "adhesive" (beads included).
// Curves:   "gripped", "loaded"        end faces
//           "bondline i middle"        tread i: middle of the layer, i = 1..steps
//           "bondline i lower", "... upper"   its two interfaces, corner to corner
//           "riser i middle"           riser i, i = 1..steps+1; the first and last
//                                      from or to the free surface
//           "cut 1"                    the whole stair: parts the lower adherend
//                                      from the upper through the adhesive alone
//
// Every block is meshed with structured quadrilaterals. The adhesive is a chain
// of blocks along the stair, mitred at its corners; behind it each adherend is a
// chain of blocks between lines that leave those corners at 45 degrees for the
// outer surface. So a cell line crosses one adherend, the adhesive and the other
// adherend, and the number of cells grows with the number of steps, not with its
// square. The thin end of an adherend, its tip, is met by as many cell lines as
// the adherend has through its depth. The upper adherend is the lower one turned
// by 180 degrees. Doubling mesh_density halves every cell and keeps every old
// mesh line (cell numbers double, ratios become their square roots).

DefineConstant[
  steps              = {3,    Name "Parameters/steps"}        // treads, 1 to 20
  thickness          = {4,    Name "Parameters/thickness"}
  bondline_thickness = {0.2,  Name "Parameters/bondline_thickness"}
  lower_free_length  = {50,   Name "Parameters/lower_free_length"}
  upper_free_length  = {50,   Name "Parameters/upper_free_length"}
  spew_height        = {0,    Name "Parameters/spew_height"}  // beads above the butt ends; 0: flush
  mesh_density       = {1,    Name "Parameters/mesh_density"}
];
For i In {1:20}
  DefineConstant[ step_length~{i} = {10, Name Sprintf("Parameters/step_length_%g", i)} ];
EndFor
For i In {1:21}
  DefineConstant[ step_height~{i} = {thickness / (steps + 1), Name Sprintf("Parameters/step_height_%g", i)} ];
EndFor

Include "growth.geo";
Include "flaws.geo";

h = bondline_thickness / 2; f = spew_height; bead = (f > 0);
surface_y = thickness / 2;

// ---- cells: sizes and growth at mesh density 1 ---------------------------
half_layer_cells = 4;   // from an interface to the middle
growth_h = 1.4;         // across the layer: its middle must be well resolved where the stair turns
growth_y = 1.8;         // along risers and through the depth
growth_x = 1.35;        // along treads and arms
longest = 2;            // longest cell, in thicknesses
smallest = h * (growth_h - 1) / (growth_h^half_layer_cells - 1);
half_cells = Max(1, Round(half_layer_cells * mesh_density));
half_ratio = growth_h^(half_layer_cells / half_cells);
If (flaw_tips > 0)
  half_cells = Max(1, Round(tip_layer_cells * mesh_density)); half_ratio = 1;
EndIf

// Number n1 of cells at density 1 that grow by about `growth` from `first` over
// `length`: even, so that half the density keeps every other mesh line.
Macro Cells
  n1 = 2 * Max(1, Round(Log(1 + length * (growth - 1) / first) / Log(growth) / 2));
Return

// ---- the stair: points, lines and the blocks of the adhesive --------------
// Side a = -1, 0, 1 stands for lower interface, middle, upper interface.
//   cut r, across the band:       points P(3*r+a+1) at PX, PY; lines Z(2*r) from
//                                 lower to middle and Z(2*r+1) on to upper
//   piece i, from cut i to i+1:   lines C(3*i+a+1), cells N(i) growing by
//                                 R(3*i+a+1), N1(i) cells at density 1
//   corner k = 0..2*steps+1:      cut K(k)
//   edge k, from corner k to k+1: riser if k is even, tread if odd
P() = {}; PX() = {}; PY() = {}; Z() = {};
C() = {}; N() = {}; N1() = {}; R() = {}; K() = {};
adhesive() = {};

// Adds a cut `c` along the present edge's middle. It is square to the edge if
// mitre = 0 and leans by 45 degrees if mitre = 1.
Macro Cut
  For a In {-1:1}
    along = c + a * turn * mitre * h;
    px = x0 + ux * along + uy * (-a * h); py = y0 + uy * along + ux * (a * h);
    p = newp; Point(p) = {px, py, 0};
    P() += p; PX() += px; PY() += py;
  EndFor
  r = #P() / 3 - 1;
  Z() += newc; Line(Z(2*r)) = {P(3*r), P(3*r+1)};
  Transfinite Curve {Z(2*r)} = half_cells + 1 Using Progression half_ratio;
  Z() += newc; Line(Z(2*r+1)) = {P(3*r+1), P(3*r+2)};
  Transfinite Curve {Z(2*r+1)} = half_cells + 1 Using Progression 1 / half_ratio;
  last_c = c; last_mitre = mitre;
Return

// Adds a piece from the last cut to a cut `c`, n1 cells, the finer ones at its
// start (fine = 1) or end (-1), or all alike (0).
Macro Piece
  i = #N();
  N1() += n1; N() += Max(1, Round(n1 * mesh_density));
  middle_length = c - last_c; lean = turn * (mitre - last_mitre) * h;
  Call Cut;
  For a In {-1:1}
    length = middle_length + a * lean; high = 1;
    If (fine != 0)
      Call Growth;
    EndIf
    R() += high^(fine * n1 / N(i));
    l = newc; C() += l; Line(l) = {P(3*i+a+1), P(3*i+3+a+1)};
    Transfinite Curve {l} = N(i) + 1 Using Progression R(3*i+a+1);
  EndFor
  For a In {0:1}
    loop = newll; Curve Loop(loop) = {C(3*i+a), Z(2*i+2+a), -C(3*i+a+1), -Z(2*i+a)};
    surface = news; Plane Surface(surface) = {loop};
    Transfinite Surface {surface} = {P(3*i+a), P(3*i+3+a), P(3*i+3+a+1), P(3*i+a+1)};
    Recombine Surface {surface};
    adhesive() += surface;
  EndFor
Return

// Adds the pieces between two mitred cuts, `from` and `to`. A long
// one is square to the edge but for its ends, `end` long.
Macro Between
  first = smallest; end = 2 * h; span = (to - from) / 2; middle = (from + to) / 2;
  If (span <= 2 * end)
    length = span;
    Call Cells;
    c = middle; mitre = 1; fine = 1;
    Call Piece;
    c = to; fine = -1;
    Call Piece;
  Else
    length = end + h;   // the longer side of the mitred end
    Call Cells;
    end_n1 = n1; length = end;
    Call Growth;
    c = from + end; mitre = 0; fine = 1; next = first * high^n1;
    Call Piece;
    first = next; length = span - end;
    uniform = Max(longest * thickness, span / 80);
    n1 = 2 * Max(1, Floor((1 + Log(uniform / first) / Log(growth)) / 2));
    rest = length - first * (growth^n1 - 1) / (growth - 1);
    If (rest < uniform)
      rest = 0;
      Call Cells;
    EndIf
    graded_n1 = n1; c = middle - rest;
    Call Piece;
    If (rest > 0)
      c = middle + rest; n1 = 2 * Ceil(rest / uniform); fine = 0;
      Call Piece;
    EndIf
    c = to - end; n1 = graded_n1; fine = -1;
    Call Piece;
    first = smallest; c = to; mitre = 1; n1 = end_n1;
    Call Piece;
  EndIf
Return

// Gives the next spot of the present tread beyond `beyond`, along it: an edge of
// a flaw, spot_e, a bead's toe, or the tread's end (spot_e = 0).
Macro NextSpot
  spot = edge; spot_e = 0;
  For e In {1:flaw_edges}
    If (flaw_edge~{e} - x0 > beyond + same && flaw_edge~{e} - x0 < spot)
      spot = flaw_edge~{e} - x0; spot_e = e;
    EndIf
  EndFor
  For s In {0:1}
    foot = s ? edge - h - f : h + f;   // a toe's cut is square here: f from the adherend's corner
    If (bead && k == (s ? 2*steps - 1 : 1) && foot > beyond + same && foot < spot - same)
      spot = foot; spot_e = 0;
    EndIf
  EndFor
Return

// Adds the pieces from `from` to `to` of a tread with flaws. At each end the first
// cell is from_first or to_first long, after even ones for from_even or to_even;
// the tread's own ends are mitred.
Macro Reach
  left = from + from_even; left_first = from_first; right = to - to_even; right_first = to_first;
  end = Min(2 * h, 0.6 * (to - from));   // at least 1.2 h, where the mitre ends at h
  If (from_mitre)
    first = smallest; length = end + h;
    Call Cells;
    length = end;
    Call Growth;
    left = from + end; left_first = first * high^n1; c = left; mitre = 0; fine = 1;
    Call Piece;
  ElseIf (from_even > 0)
    n1 = tip_even_cells; c = left; mitre = 0; fine = 0;
    Call Piece;
  EndIf
  If (to_mitre)
    first = smallest; length = end + h;
    Call Cells;
    end_n1 = n1; length = end;
    Call Growth;
    right = to - end; right_first = first * high^n1;
  EndIf
  span = (right - left) / 2; middle = (left + right) / 2; mitre = 0;
  uniform = Max(longest * thickness, span / 80);
  For part In {0:1}
    first = part ? right_first : left_first; length = span;
    n1 = 2 * Max(1, Floor((1 + Log(uniform / first) / Log(growth)) / 2));
    rest = span - first * (growth^n1 - 1) / (growth - 1);
    If (rest < uniform)
      rest = 0;
      Call Cells;
    EndIf
    graded_n1 = n1;
    If (part == 0)
      c = middle - rest; fine = 1;
      Call Piece;
    EndIf
    If (rest > 0)
      c = part ? middle + rest : middle; n1 = 2 * Ceil(rest / uniform / 2); fine = 0;
      Call Piece;
    EndIf
    If (part == 1)
      c = right; n1 = graded_n1; first = right_first; fine = -1;
      Call Piece;
    EndIf
  EndFor
  If (to_mitre)
    first = smallest; c = to; mitre = 1; n1 = end_n1; fine = -1;
    Call Piece;
  ElseIf (to_even > 0)
    n1 = tip_even_cells; c = to; fine = 0;
    Call Piece;
  EndIf
Return

// Adds a tread with edges of flaws on it: pieces between them, and the toes of beads.
Macro FlawedTread
  from = 0; from_first = smallest; from_even = 0; from_mitre = 1; to = 0;
  For turns In {1:flaw_edges+3}   // at least as many as there are spots
    If (to < edge)
      beyond = from;
      Call NextSpot;
      to = spot; to_e = spot_e; to_mitre = (to == edge); to_even = 0; to_first = smallest; beyond = to;
      If (!to_mitre)
        Call NextSpot;
        to_first = Min(smallest, Min(to - from, spot - to) / (4 * tip_even_cells));
        If (to_e > 0)
          e = to_e; before = x0 + from; after = x0 + spot;
          Call AtEdge;
          to_first = edge_first; to_even = edge_even;
        EndIf
      EndIf
      Call Reach;
      r = #P() / 3 - 1;
      If (k == 1 && Fabs(to - h - f) <= same)
        top_r = r;
      EndIf
      If (k == 2*steps - 1 && Fabs(to - edge + h + f) <= same)
        bottom_r = r;
      EndIf
      from = to; from_first = to_first; from_even = to_even; from_mitre = 0;
    EndIf
  EndFor
Return

// Cells of the butt ends, depth_n1 each: enough for either and for the depth.
growth = growth_y; first = smallest; length = thickness;
Call Cells;
depth_n1 = n1; length = (step_height_1 + h) / 2;
Call Cells;
depth_n1 = Max(depth_n1, 2 * n1); length = (step_height~{steps+1} + h) / 2;
Call Cells;
depth_n1 = Max(depth_n1, 2 * n1);

x0 = 0; y0 = surface_y; ux = 0; uy = -1; turn = -1; c = 0; mitre = 0;
Call Cut;
K() += 0;
For k In {0:2*steps}
  last_c = 0;
  If (k % 2 == 1)
    ux = 1; uy = 0; turn = 1; growth = growth_x;
    edge = step_length~{(k+1)/2}; same = 1e-7 * edge;
    flawed = 0;
    If (flaw_edges > 0)
      For e In {1:flaw_edges}
        If (flaw_edge~{e} > x0 && flaw_edge~{e} < x0 + edge)
          flawed = 1;
        EndIf
      EndFor
    EndIf
    stops() = {};   // the toes of the beads that stand on the tip behind this tread
    If (bead && k == 1)
      stops() += f;
    EndIf
    If (bead && k == 2*steps - 1)
      If (#stops() == 0)
        stops() += edge - f;
      ElseIf (Fabs(edge - 2*f) > same)
        stops() = {Min(f, edge - f), Max(f, edge - f)};
      EndIf
    EndIf
    stops() += edge;
    If (flawed)
      Call FlawedTread;
      stops() = {};
    EndIf
    from = 0; n_stops = #stops();
    For s In {1:n_stops}
      to = stops(s-1);
      Call Between;
      r = #P() / 3 - 1;
      If (k == 1 && to < edge && Fabs(to - f) <= same)
        top_r = r;      // the toes' cuts
      EndIf
      If (k == 2*steps - 1 && to < edge && Fabs(to - edge + f) <= same)
        bottom_r = r;
      EndIf
      from = to;
    EndFor
  Else
    ux = 0; uy = -1; turn = -1; growth = growth_y;
    edge = step_height~{k/2+1};
    If (k == 2*steps)
      edge = y0 + surface_y;   // to the bottom surface without round-off
    EndIf
    If (k > 0 && k < 2*steps)
      from = 0; to = edge;
      Call Between;
    Else
      first = smallest; length = (edge + h) / 2;
      Call Cells;
      mitred_n1 = n1 + 2 * Floor((depth_n1 - 2 * n1) / 4); free_n1 = depth_n1 - mitred_n1;
      c = edge / 2; mitre = 0.5; fine = 1; n1 = (k == 0) ? free_n1 : mitred_n1;
      Call Piece;
      c = edge; mitre = (k == 0); fine = -1; n1 = depth_n1 - n1;
      Call Piece;
    EndIf
  EndIf
  x0 += ux * edge; y0 += uy * edge;
  K() += #P() / 3 - 1;
EndFor
end_x = x0; ends = 2 * steps + 1;

// ---- beads: middle lines ---------------------------------------------------
// Bead b = 1 stands on the top surface, b = -1 below the bottom surface.
If (bead)
  growth = growth_y; first = smallest; length = f;
  Call Cells;
  Call Growth;
  bead_cells = Max(1, Round(n1 * mesh_density)); bead_ratio = high^(n1 / bead_cells);
  For b In {-1:1:2}
    r = (b > 0) ? 0 : K(ends);
    T(b+1) = newp; Point(T(b+1)) = {PX(3*r+1), b * (surface_y + f), 0};
    W(b+1) = newc; Line(W(b+1)) = {P(3*r+1), T(b+1)};
    Transfinite Curve {W(b+1)} = bead_cells + 1 Using Progression bead_ratio;
  EndFor
EndIf

// The half of bead b on the side of adherend a. It stands on half the gap and,
// from the adherend's corner to the `toe`, on the lines foot_c with foot_l long,
// foot_n cells growing by foot_r outwards, foot_n1 at density 1 in all.
Macro HalfBead
  r = (b > 0) ? 0 : K(ends);
  corner = newp; Point(corner) = {PX(3*r+a+1), b * (surface_y + f), 0};
  flank = newc; Line(flank) = {toe, corner};
  Transfinite Curve {flank} = bead_cells + 1 Using Progression bead_ratio;
  // No line leans by more than 45 degrees, and none is crowded at the top.
  w = h * Max(h / (h + f), half_layer_cells / (half_layer_cells + foot_n1));
  px = PX(3*r+1) + a * w;
  p = newp; Point(p) = {px, b * (surface_y + f), 0};
  top() = {newc}; Line(top(0)) = {T(b+1), p};
  Transfinite Curve {top(0)} = half_cells + 1 Using Progression 1 / half_ratio;
  bottom() = {a * Z(2*r + (a+1)/2)};
  For s In {0:#foot_c()-1}
    from = p; px += a * (h - w) * foot_l(s) / f;
    If (s == #foot_c() - 1)
      p = corner;
    Else
      p = newp; Point(p) = {px, b * (surface_y + f), 0};
    EndIf
    l = newc; Line(l) = {from, p};
    Transfinite Curve {l} = foot_n(s) + 1 Using Progression foot_r(s);
    top() += l; bottom() += foot_c(s);
  EndFor
  bottom() += flank;
  For s In {1:#top()}
    bottom() += -top(#top()-s);
  EndFor
  bottom() += -W(b+1);
  loop = newll; Curve Loop(loop) = bottom();
  surface = news; Plane Surface(surface) = {loop};
  Transfinite Surface {surface} = {P(3*r+1), toe, corner, T(b+1)};
  Recombine Surface {surface};
  adhesive() += surface;
Return

// ---- adherends --------------------------------------------------------------
// Adherend a = -1: lower, 1: upper, of the given free_length. Its corners
// j = 0..2*steps+1 are counted from its arm to its tip.
Macro Adherend
  metal() = {};

  // Lines D(j) from the corners to their feet F(j) on the outer surface.
  tip = (a < 0) ? 2*steps : 0;   // edge at the tip
  depth_cells = 0;
  For i In {K(tip):K(tip+1)-1}
    depth_cells += N(i);
  EndFor
  slope = Min(1, 0.75 * (free_length - h) / thickness);
  D() = {}; F() = {}; FX() = {};
  first = smallest; growth = growth_y;
  For j In {0:2*steps-1}
    r = K((a < 0) ? j : ends - j);
    length = surface_y - a * PY(3*r+a+1); n1 = depth_n1;
    Call Growth;
    FX() += PX(3*r+a+1) + a * slope * length;
    F() += newp; Point(F(j)) = {FX(j), a * surface_y, 0};
    D() += newc; Line(D(j)) = {P(3*r+a+1), F(j)};
    ratio = high^(n1 / depth_cells);
    Transfinite Curve {D(j)} = depth_cells + 1 Using Progression ratio;
    If (j == 0)
      arm_ratio = ratio;
    EndIf
  EndFor

  // Blocks behind risers and treads but the last riser, which is the tip's end.
  For j In {0:2*steps-1}
    r0 = K((a < 0) ? j : ends - j); r1 = K((a < 0) ? j+1 : ends - j - 1);
    at = (j == 2*steps - 1);   // the block that is the tip
    If (at)
      r = K((a < 0) ? ends : 0); end_point = P(3*r+a+1); end_foot = PX(3*r+a+1);
    Else
      end_point = F(j+1); end_foot = FX(j+1);
    EndIf
    r = r1;                    // cut up to which feet are spread over the outer surface
    If (bead && at)
      r = (a < 0) ? bottom_r : top_r; end_foot = PX(3*r+a+1);
    EndIf
    spread = Fabs(r - r0);
    reach = Fabs(PX(3*r+a+1) - PX(3*r0+a+1)) + Fabs(PY(3*r+a+1) - PY(3*r0+a+1));
    sides() = {}; outer() = {}; p = F(j);
    foot_c() = {}; foot_l() = {}; foot_n() = {}; foot_r() = {}; foot_n1 = 0; toe = F(j);
    pieces = Fabs(r1 - r0);
    For s In {1:pieces}
      r = r0 - a * s; i = (a < 0) ? r - 1 : r;
      sides() += -a * C(3*i+a+1);
      from = p;
      If (s == pieces)
        p = end_point;
      Else
        px = PX(3*r+a+1);
        If (s <= spread)
          px = FX(j) + (end_foot - FX(j)) / reach * (Fabs(px - PX(3*r0+a+1)) + Fabs(PY(3*r+a+1) - PY(3*r0+a+1)));
        EndIf
        p = newp; Point(p) = {px, a * surface_y, 0};
      EndIf
      l = newc; Line(l) = {from, p}; outer() += l;
      Transfinite Curve {l} = N(i) + 1 Using Progression R(3*i+a+1)^(-a);
      If (s == spread)
        toe = p;
      EndIf
    EndFor
    If (at)
      For s In {K(tip):K(tip+1)-1}
        i = (a < 0) ? s : K(tip+1) - 1 - s;
        sides() += -a * C(3*i+a+1);
      EndFor
    Else
      sides() += D(j+1);
    EndIf
    For s In {1:pieces}
      sides() += -outer(pieces-s);
    EndFor
    sides() += -D(j);
    loop = newll; Curve Loop(loop) = sides();
    surface = news; Plane Surface(surface) = {loop};
    Transfinite Surface {surface} = {P(3*r0+a+1), P(3*r1+a+1), end_point, F(j)};
    Recombine Surface {surface};
    metal() += surface;
    If (bead && at)
      For s In {1:pieces-spread}   // from the corner to the toe
        r = r1 + a * s; i = (a < 0) ? r : r - 1;
        foot_c() += -outer(pieces-s); foot_n() += N(i); foot_n1 += N1(i);
        foot_l() += Fabs(PX(3*i+3+a+1) - PX(3*i+a+1)); foot_r() += R(3*i+a+1)^a;
      EndFor
      b = a;
      Call HalfBead;
    EndIf
  EndFor

  // Arm: from the first corner to the end face.
  r = K((a < 0) ? 0 : ends); corner = P(3*r+a+1);
  foot_c() = {}; foot_l() = {}; foot_n() = {}; foot_r() = {}; foot_n1 = 0;
  growth = growth_x; first = smallest;
  If (bead)
    length = f / 2;
    Call Cells;
    Call Growth;
    foot_n1 = 2 * n1; n = Max(1, Round(n1 * mesh_density)); ratio = high^(n1 / n);
    foot_l() = {length, length}; foot_n() = {n, n}; foot_r() = {ratio, 1 / ratio};
  EndIf
  length = free_length - h - f;
  uniform = Max(longest * thickness, length / 80);
  n1 = 2 * Max(1, Floor((1 + Log(uniform / first) / Log(growth)) / 2));
  graded = first * (growth^n1 - 1) / (growth - 1); rest = length - graded;
  If (rest < uniform)
    graded = length; rest = 0;
    Call Cells;
  EndIf
  length = graded;
  Call Growth;
  n = Max(1, Round(n1 * mesh_density));
  foot_l() += graded; foot_n() += n; foot_r() += high^(n1 / n);
  If (rest > 0)
    foot_l() += rest; foot_n() += Max(1, Round(2 * Ceil(rest / uniform / 2) * mesh_density)); foot_r() += 1;
  EndIf
  face_x = (a < 0) ? -free_length : end_x + free_length;
  shrink = (face_x - FX(0)) / (face_x - PX(3*r+a+1));   // of the outer surface against the inner one
  sides() = {}; outer() = {}; p0 = corner; p1 = F(0);
  px = PX(3*r+a+1); pf = FX(0);
  For s In {0:#foot_l()-1}
    px += a * foot_l(s); pf += a * shrink * foot_l(s);
    If (s == #foot_l() - 1)
      px = face_x; pf = face_x;
    EndIf
    from = p0; p0 = newp; Point(p0) = {px, -a * surface_y, 0};
    l = newc; Line(l) = {from, p0}; sides() += l; foot_c() += l;
    from = p1; p1 = newp; Point(p1) = {pf, a * surface_y, 0};
    lo = newc; Line(lo) = {from, p1}; outer() += lo;
    Transfinite Curve {l, lo} = foot_n(s) + 1 Using Progression foot_r(s);
    If (bead && s == 1)
      toe = p0;
    EndIf
  EndFor
  face = newc; Line(face) = {p0, p1};
  Transfinite Curve {face} = depth_cells + 1 Using Progression arm_ratio;
  sides() += face;
  For s In {1:#outer()}
    sides() += -outer(#outer()-s);
  EndFor
  sides() += -D(0);
  loop = newll; Curve Loop(loop) = sides();
  surface = news; Plane Surface(surface) = {loop};
  Transfinite Surface {surface} = {corner, p0, p1, F(0)};
  Recombine Surface {surface};
  metal() += surface;
  If (bead)
    foot_c() = {foot_c(0), foot_c(1)};
    b = -a;
    Call HalfBead;
  EndIf
Return

a = -1; free_length = lower_free_length;
Call Adherend;
lower() = metal(); gripped = face;
a = 1; free_length = upper_free_length;
Call Adherend;
upper() = metal(); loaded = face;

Physical Surface("lower") = lower();
Physical Surface("adhesive") = adhesive();
Physical Surface("upper") = upper();
Physical Curve("gripped") = {gripped};
Physical Curve("loaded") = {loaded};
stair() = {};
For k In {0:2*steps}
  middle() = {}; interface_lower() = {}; interface_upper() = {};
  For i In {K(k):K(k+1)-1}
    interface_lower() += C(3*i);
    middle() += C(3*i+1);
    interface_upper() += C(3*i+2);
  EndFor
  If (bead && k == 0)
    middle() += W(2);
  EndIf
  If (bead && k == 2*steps)
    middle() += W(0);
  EndIf
  stair() += middle();
  If (k % 2 == 1)
    Physical Curve(Sprintf("bondline %g middle", (k+1)/2)) = middle();
    Physical Curve(Sprintf("bondline %g lower", (k+1)/2)) = interface_lower();
    Physical Curve(Sprintf("bondline %g upper", (k+1)/2)) = interface_upper();
  Else
    Physical Curve(Sprintf("riser %g middle", k/2+1)) = middle();
  EndIf
EndFor
Physical Curve("cut 1") = stair();
