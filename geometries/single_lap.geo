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
// the interfaces. Doubling mesh_density halves every cell and keeps every old
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

L = overlap_length; h = bondline_thickness / 2; f = spew_height;
fillet = (f > 0);

// ---- cells: numbers at mesh density 1, growth ratios --------------------
half_layer_cells = 4;   // from an interface to the mid-line
growth_y = 1.8;         // away from the interfaces
growth_x = 1.35;        // away from the overlap ends
smallest = h * (growth_y - 1) / (growth_y^half_layer_cells - 1);
density = mesh_density;

// (gmsh resumes after a Call at the next line, so each Call ends its line.)
// Cells from a first one of size `smallest` over a length, at density 1.
Macro Graded
  n1 = Max(2, Ceil(Log(1 + length * (growth - 1) / smallest) / Log(growth)));
  n = Max(1, Round(n1 * density));
  ratio = growth^(n1 / n);
Return

nx() = {}; rx() = {}; ny() = {}; ry() = {};

// ---- grid lines ---------------------------------------------------------
a = lower_free_length; b = upper_free_length;
half_cells = Max(1, Round(half_layer_cells * density));
half_ratio = growth_y^(half_layer_cells / half_cells);

If (fillet)
  X() = {-a, -f-2*h, -f-h, -f, -f/2, 0, L/2, L, L+f/2, L+f, L+f+h, L+f+2*h, L+b};
  Y() = {-h-lower_thickness, -h-f, -h-f/2, -h, 0, h, h+f/2, h+f, h+upper_thickness};
  i0 = 5; i1 = 7; j0 = 3;
Else
  X() = {-a, 0, L/2, L, L+b};
  Y() = {-h-lower_thickness, -h, 0, h, h+upper_thickness};
  i0 = 1; i1 = 3; j0 = 1;
EndIf
NX = #X(); NY = #Y(); j1 = j0 + 2;   // j0, j1: interfaces; j0 + 1: mid-line

// x: arms and the two halves of the overlap
growth = growth_x;
For i In {0:NX-2}
  nx(i) = half_cells; rx(i) = 1;
EndFor
If (fillet)
  growth = growth_y;
  length = f/2;
  Call Graded;
  growth = growth_x;
  fillet_cells = n; fillet_ratio = ratio;
  // From the overlap end outwards: graded, then the fillet's even cells.
  nx(4) = n; rx(4) = 1/ratio; nx(3) = n; rx(3) = 1;
  nx(7) = n; rx(7) = ratio;   nx(8) = n; rx(8) = 1;
  end_cell = h / half_layer_cells;    // at the fillet's tip, density 1
  keep = smallest; smallest = end_cell;
  length = a - f - 2*h;
  Call Graded;
  nx(0) = n; rx(0) = 1/ratio;
  length = b - f - 2*h;
  Call Graded;
  nx(NX-2) = n; rx(NX-2) = ratio;
  smallest = keep;
Else
  length = a;
  Call Graded;
  nx(0) = n; rx(0) = 1/ratio;
  length = b;
  Call Graded;
  nx(NX-2) = n; rx(NX-2) = ratio;
EndIf
length = L/2;
Call Graded;
nx(i0) = n; rx(i0) = ratio; nx(i0+1) = n; rx(i0+1) = 1/ratio;

// y: adherends and the two halves of the layer
growth = growth_y;
ny(j0) = half_cells; ry(j0) = half_ratio; ny(j0+1) = half_cells; ry(j0+1) = 1/half_ratio;
If (fillet)
  For s In {0:1}   // the half fillets: graded from the corner, then even
    near = (s == 0) ? j0-1 : j1; far = (s == 0) ? j0-2 : j1+1;
    ny(near) = fillet_cells; ry(near) = (s == 0) ? 1/fillet_ratio : fillet_ratio;
    ny(far) = fillet_cells; ry(far) = 1;
  EndFor
  keep = smallest; smallest = f/2 / Max(2, fillet_cells / density);
  length = lower_thickness - f;
  Call Graded;
  ny(0) = n; ry(0) = 1/ratio;
  length = upper_thickness - f;
  Call Graded;
  ny(NY-2) = n; ry(NY-2) = ratio;
  smallest = keep;
Else
  length = lower_thickness;
  Call Graded;
  ny(0) = n; ry(0) = 1/ratio;
  length = upper_thickness;
  Call Graded;
  ny(NY-2) = n; ry(NY-2) = ratio;
EndIf

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
