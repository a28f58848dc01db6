// Single-lap joint: cross-section for plane analysis, all lengths in mm.
//
//                          x = 0            x = L
//                            |  upper         |            loaded end
//                            +----------------+-------------------+
//                            |                                    |
//                            +----------------+-------------------+
//                            |::: adhesive :::|
//        +-------------------+----------------+
//        |                                    |
//        +-------------------+----------------+
//      gripped end              lower
//
// Surfaces: "lower", "upper" (adherends), "adhesive" (spew fillets included).
// Curves:   "gripped", "loaded"               end faces
//           "bondline 1 middle"               mid-line of the layer, 0 <= x <= L
//           "bondline 1 lower", "... upper"   its two interfaces, 0 <= x <= L
//           "cut 1"  mesh lines through the adhesive alone that part the lower
//                    adherend from the upper, free surface to free surface,
//                    clear of the corners
//
// The section is a grid of rectangles, some of them filled, with the spew
// fillets as triangles beside it. Every rectangle is meshed with structured
// quadrilaterals that grow by a constant ratio away from the overlap ends and
// the interfaces, up to twice the adherend's thickness. Doubling mesh_density halves every cell and keeps every old
// mesh line (cell numbers double, ratios become their square roots).

DefineConstant[
  overlap_length     = {12.5, Name "Parameters/overlap_length"}
  bondline_thickness = {0.2,  Name "Parameters/bondline_thickness"}
  lower_thickness    = {1.6,  Name "Parameters/lower_thickness"}
  lower_free_length  = {50,   Name "Parameters/lower_free_length"}
  upper_thickness    = {1.6,  Name "Parameters/upper_thickness"}
  upper_free_length  = {50,   Name "Parameters/upper_free_length"}
  spew_height        = {0,    Name "Parameters/spew_height"}  // climb up the adherend's end face; 0: square end
  mesh_density       = {1,    Name "Parameters/mesh_density"}
];

h = bondline_thickness / 2; f = spew_height; fillet = (f > 0);

// ---- cells: sizes and growth at mesh density 1 ---------------------------
half_layer_cells = 4;   // from an interface to the mid-line
growth_y = 1.8;         // away from the interfaces
growth_x = 1.35;        // away from the overlap ends
longest = 2;            // longest cell, in thicknesses of the adherend
smallest = h * (growth_y - 1) / (growth_y^half_layer_cells - 1);

// Cells that grow from `first` over `length`: n, ratio, and n1 at density 1,
// which is even so that half the density keeps every other mesh line. The ratio
// is the one, at most `growth`, with which the first cell is `first` long.
// (gmsh resumes after a Call at the next line, so each Call ends its line.)
Macro Graded
  n1 = 2 * Max(1, Ceil(Log(1 + length * (growth - 1) / first) / Log(growth) / 2 - 1e-9));
  low = 1; high = growth;
  For bisection In {1:40}
    q = (low + high) / 2;
    If (first * (q^n1 - 1) / (q - 1) < length)
      low = q;
    Else
      high = q;
    EndIf
  EndFor
  n = Max(1, Round(n1 * mesh_density));
  ratio = high^(n1 / n);
Return

// Adds a stretch of `length` along x with n cells that grow by `ratio`.
Macro Stretch
  x += length;
  X() += x; nx() += n; rx() += ratio;
Return

// Adds a stretch of `span` along x: cells grow away from its fine end, then,
// once they are `largest` long, stay so. fine = -1: the fine end is the left.
Macro Span
  uniform = Max(largest, span / 80);
  n1 = 2 * Max(1, Floor((1 + Log(uniform / first) / Log(growth)) / 2));
  graded = first * (growth^n1 - 1) / (growth - 1);
  rest = span - graded;
  If (rest < uniform)
    graded = span; rest = 0;
  EndIf
  nr = Max(1, Round(2 * Max(1, Ceil(rest / uniform / 2)) * mesh_density));
  If (rest > 0 && fine > 0)
    length = rest; n = nr; ratio = 1;
    Call Stretch;
  EndIf
  length = graded;
  Call Graded;
  If (fine > 0)
    ratio = 1 / ratio;
  EndIf
  Call Stretch;
  If (rest > 0 && fine < 0)
    length = rest; n = nr; ratio = 1;
    Call Stretch;
  EndIf
Return

half_cells = Max(1, Round(half_layer_cells * mesh_density));
half_ratio = growth_y^(half_layer_cells / half_cells);
growth = growth_y; first = smallest; length = f / 2;
Call Graded;
fillet_cells = n; fillet_ratio = ratio; fillet_cells_1 = n1;

// ---- grid lines along x: X, and the cells between them -------------------
growth = growth_x;
x = -lower_free_length;
X() = {x}; nx() = {}; rx() = {};
first = fillet ? h / half_layer_cells : smallest;
span = lower_free_length - (fillet ? f + 2*h : 0);
largest = longest * lower_thickness; fine = 1;
Call Span;
If (fillet)   // from the fillet's tip to the overlap's end
  length = h; n = half_cells; ratio = 1;
  Call Stretch;
  length = h;
  Call Stretch;
  length = f / 2; n = fillet_cells;
  Call Stretch;
  length = f / 2; ratio = 1 / fillet_ratio;
  Call Stretch;
EndIf
x = 0; i0 = #X() - 1; X(i0) = 0;
first = smallest; span = overlap_length / 2; fine = -1;
largest = longest * Min(lower_thickness, upper_thickness);
Call Span;
fine = 1;
Call Span;
x = overlap_length; i1 = #X() - 1; X(i1) = x;
If (fillet)
  length = f / 2; n = fillet_cells; ratio = fillet_ratio;
  Call Stretch;
  length = f / 2; ratio = 1;
  Call Stretch;
  length = h; n = half_cells;
  Call Stretch;
  length = h;
  Call Stretch;
EndIf
first = fillet ? h / half_layer_cells : smallest;
span = upper_free_length - (fillet ? f + 2*h : 0);
largest = longest * upper_thickness; fine = -1;
Call Span;
NX = #X(); X(NX-1) = overlap_length + upper_free_length;

// ---- grid lines along y: Y, and the cells between them -------------------
growth = growth_y;
first = fillet ? f / 2 / Max(2, fillet_cells_1) : smallest;
length = lower_thickness - f;
Call Graded;
Y() = {-h - lower_thickness}; ny() = {n}; ry() = {1 / ratio};
If (fillet)   // half fillets: even, then graded towards the corner
  Y() += {-h-f, -h-f/2}; ny() += {fillet_cells, fillet_cells}; ry() += {1, 1/fillet_ratio};
EndIf
j0 = #Y(); j1 = j0 + 2;   // j0, j1: interfaces; j0 + 1: mid-line
Y() += {-h, 0, h}; ny() += {half_cells, half_cells}; ry() += {half_ratio, 1/half_ratio};
If (fillet)
  Y() += {h+f/2, h+f}; ny() += {fillet_cells, fillet_cells}; ry() += {fillet_ratio, 1};
EndIf
length = upper_thickness - f;
Call Graded;
Y() += {h + upper_thickness}; ny() += {n}; ry() += {ratio};
NY = #Y();

// ---- which rectangles are filled: 1 lower, 2 adhesive, 3 upper ----------
For j In {0:NY-2}
  For i In {0:NX-2}
    k = i + NX*j; R(k) = 0;
    If (j < j0 && i < i1)
      R(k) = 1;
    ElseIf (j >= j1 && i >= i0)
      R(k) = 3;
    ElseIf (j >= j0 && j < j1)
      If (i >= i0 && i < i1)
        R(k) = 2;
      EndIf
      If (fillet && ((i >= i0-2 && i < i0) || (i >= i1 && i < i1+2)))
        R(k) = 2;
      EndIf
    EndIf
  EndFor
EndFor

// ---- points, lines, surfaces of the filled rectangles -------------------
For j In {0:NY-1}
  For i In {0:NX-1}
    k = i + NX*j; P(k) = newp; Point(P(k)) = {X(i), Y(j), 0};
    H(k) = 0; V(k) = 0;
  EndFor
EndFor
lower() = {}; adhesive() = {}; upper() = {};
For j In {0:NY-2}
  For i In {0:NX-2}
    k = i + NX*j;
    If (R(k) > 0)
      For s In {0:1}
        kh = k + NX*s;   // bottom, top
        If (H(kh) == 0)
          H(kh) = newc; Line(H(kh)) = {P(kh), P(kh+1)};
          Transfinite Curve {H(kh)} = nx(i)+1 Using Progression rx(i);
        EndIf
        kv = k + s;      // left, right
        If (V(kv) == 0)
          V(kv) = newc; Line(V(kv)) = {P(kv), P(kv+NX)};
          Transfinite Curve {V(kv)} = ny(j)+1 Using Progression ry(j);
        EndIf
      EndFor
      loop = newll; Curve Loop(loop) = {H(k), V(k+1), -H(k+NX), -V(k)};
      surface = news; Plane Surface(surface) = {loop};
      Transfinite Surface {surface} = {P(k), P(k+1), P(k+NX+1), P(k+NX)};
      Recombine Surface {surface};
      If (R(k) == 1)
        lower() += surface;
      ElseIf (R(k) == 2)
        adhesive() += surface;
      Else
        upper() += surface;
      EndIf
    EndIf
  EndFor
EndFor

// ---- spew fillets: triangles, each parted into three quadrilaterals ------
// Right angle at grid point (iq, jq), legs of two grid intervals each in the
// directions di along x and dj along y, `cells` in every half leg.
Macro Triangle
  im = iq + di; ie = im + di; jn = jq + dj; jg = jn + dj;
  If (di > 0)
    qm = H(iq + NX*jq); me = H(im + NX*jq);
  Else
    qm = -H(im + NX*jq); me = -H(ie + NX*jq);
  EndIf
  If (dj > 0)
    qn = V(iq + NX*jq); ng = V(iq + NX*jn);
  Else
    qn = -V(iq + NX*jn); ng = -V(iq + NX*jg);
  EndIf
  pq = P(iq + NX*jq); pm = P(im + NX*jq); pe = P(ie + NX*jq);
  pn = P(iq + NX*jn); pg = P(iq + NX*jg);
  mid = newp; Point(mid) = {X(im), Y(jn), 0};
  centre = newp; Point(centre) = {X(iq) + (X(ie)-X(iq))/3, Y(jq) + (Y(jg)-Y(jq))/3, 0};
  emid = newc; Line(emid) = {pe, mid};
  midg = newc; Line(midg) = {mid, pg};
  mc = newc; Line(mc) = {pm, centre};
  nc = newc; Line(nc) = {pn, centre};
  midc = newc; Line(midc) = {mid, centre};
  Transfinite Curve {emid, midg, mc, nc, midc} = cells + 1;
  q1 = newll; Curve Loop(q1) = {qm, mc, -nc, -qn};
  Plane Surface(q1) = {q1}; Transfinite Surface {q1} = {pq, pm, centre, pn};
  q2 = newll; Curve Loop(q2) = {me, emid, midc, -mc};
  Plane Surface(q2) = {q2}; Transfinite Surface {q2} = {pm, pe, mid, centre};
  q3 = newll; Curve Loop(q3) = {ng, -midg, midc, -nc};
  Plane Surface(q3) = {q3}; Transfinite Surface {q3} = {pn, pg, mid, centre};
  Recombine Surface {q1, q2, q3};
  adhesive() += {q1, q2, q3};
Return

middle() = {}; interface_lower() = {}; interface_upper() = {}; cut() = {};
For i In {i0:i1-1}
  interface_lower() += H(i + NX*j0);
  middle() += H(i + NX*(j0+1));
  interface_upper() += H(i + NX*j1);
EndFor
cut() += middle();
If (fillet)
  cells = half_cells;
  iq = i0-2; jq = j0; di = -1; dj = 1;
  Call Triangle;
  cut() += {midc, nc, H(i0-2 + NX*(j0+1)), H(i0-1 + NX*(j0+1))};
  iq = i1+2; jq = j1; di = 1; dj = -1;
  Call Triangle;
  cut() += {midc, nc, H(i1 + NX*(j0+1)), H(i1+1 + NX*(j0+1))};
  cells = fillet_cells;
  iq = i0; jq = j1; di = -1; dj = 1;
  Call Triangle;
  iq = i1; jq = j0; di = 1;  dj = -1;
  Call Triangle;
EndIf
gripped() = {}; loaded() = {};
For j In {0:j0-1}
  gripped() += V(NX*j);
EndFor
For j In {j1:NY-2}
  loaded() += V(NX-1 + NX*j);
EndFor

Physical Surface("lower") = lower();
Physical Surface("adhesive") = adhesive();
Physical Surface("upper") = upper();
Physical Curve("gripped") = gripped();
Physical Curve("loaded") = loaded();
Physical Curve("bondline 1 middle") = middle();
Physical Curve("bondline 1 lower") = interface_lower();
Physical Curve("bondline 1 upper") = interface_upper();
Physical Curve("cut 1") = cut();
