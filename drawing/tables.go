package drawing

// The tables hold the right side, the front wheel to the right. The primary
// drive, the rear chain and the rear brake are on the left, the timing gear,
// the kick starter and the oil tank on the right.

// Places from which much is measured: the wheel spindles, and the crankshaft.
const (
	rearX, rearY   = 400.0, 795.0
	frontX, frontY = 1800.0, 795.0
	tyreR, rimR    = 325.0, 246.0
)

// order is that in which groups are drawn, from the far to the near.
var order = []string{"wheels", "brakes", "tinware", "frame", "rear-suspension", "lubrication", "ignition", "engine-bottom", "engine-top",
	"gearbox", "primary", "exhaust", "fuel", "fork", "electrical", "controls", "finishes"}

var (
	right    = only{Right}
	left     = only{Left}
	single   = only{Single}
	twin     = only{Twin}
	plunger  = only{Plunger}
	swinging = only{Swinging}
	stiff    = only{Rigid, Plunger}
)

// silencer is a tapered one that lies so much lower.
func silencer(lower float64) Path {
	return read("M 860 986 C 820 980 790 954 740 946 C 640 928 520 914 400 916 C 340 918 290 934 236 940 L 234 972 C 290 974 340 986 396 1004 C 500 1034 640 1044 730 1044 C 780 1044 812 1028 856 1030 Z").
		mapped(func(p Point) Point { return Point{p.X, p.Y + lower} })
}

// tables are the shapes of each group.
var tables = map[string][]row{
	"wheels": {
		{Area, nil, ring(rearX, rearY, tyreR, rimR)},
		{Fine, nil, circle(rearX, rearY, rimR+34)},
		{Fine, nil, circle(rearX, rearY, rimR-16)},
		{Fine, nil, spokes(rearX, rearY, 44, rimR-16, 20)},
		{Area, nil, circle(rearX, rearY, 44)},
		{Area, nil, ring(frontX, frontY, tyreR, rimR)},
		{Fine, nil, circle(frontX, frontY, rimR+34)},
		{Fine, nil, circle(frontX, frontY, rimR-16)},
		{Fine, nil, spokes(frontX, frontY, 44, rimR-16, 20)},
		{Area, nil, circle(frontX, frontY, 40)},
	},
	"brakes": {
		{Area, nil, circle(frontX, frontY, 98)},
		{Fine, right, circle(frontX, frontY, 84)},
		{Fine, left, circle(frontX, frontY, 90)},
		{Fine, left, circle(frontX, frontY, 62)},
		// The lever of the front brake, and its cam.
		{Area, right, taper(20, 14, "M 1762 742 L 1706 706")},
		{Area, right, circle(1762, 742, 15)},
		{Area, left, circle(rearX, rearY, 104)},
		{Fine, left, circle(rearX, rearY, 92)},
		// The rod and the pedal of the rear brake.
		{Line, left, read("M 452 868 L 1010 985")},
		{Area, left, taper(22, 16, "M 440 850 L 474 890")},
		{Area, left, taper(16, 20, "M 1000 985 C 1060 1000 1110 990 1150 962")},
	},
	"tinware": {
		{Area, nil, band(frontX, frontY, 364, 328, 66, 188)},
		{Fine, nil, read("M 1702 799 L 1446 812")},
		{Area, nil, band(rearX, rearY, 370, 326, 30, 184)},
		{Line, nil, read("M 310 740 L 90 604 M 345 710 L 202 486")},
		{Fine, nil, arc(rearX, rearY, 358, 32, 182, true)},
		{Fine, nil, arc(frontX, frontY, 352, 68, 186, true)},
		// A sprung saddle, or a seat for two on a swinging fork.
		{Line, stiff, coil(Point{664, 470}, Point{664, 582}, 56, 5)},
		{Area, stiff, tube(16, "M 634 588 C 720 590 800 560 892 524")},
		{Area, stiff, read("M 602 398 C 612 366 668 356 730 366 C 800 378 860 398 925 400 C 968 402 984 414 984 428 C 984 444 960 450 920 446 C 850 446 800 476 734 482 C 672 487 618 476 604 446 C 600 432 598 414 602 398 Z")},
		{Fine, stiff, read("M 610 432 C 660 456 740 448 800 432 C 850 420 900 424 975 432")},
		{Area, swinging, read("M 418 392 C 424 362 470 350 560 354 C 660 358 730 384 800 392 C 870 398 930 394 990 404 L 994 448 C 940 456 880 462 800 462 C 680 464 560 462 446 446 C 420 440 412 414 418 392 Z")},
		{Fine, swinging, read("M 424 422 C 540 436 700 440 992 430")},
		// The tool box.
		{Area, only{Right, Rigid, Plunger}, read("M 586 664 L 752 640 C 766 638 772 646 770 658 L 752 762 C 750 774 742 780 730 778 L 640 762 C 612 756 588 700 580 682 C 576 672 578 666 586 664 Z")},
		{Fine, only{Right, Rigid, Plunger}, read("M 604 682 L 750 660 M 690 700 L 712 697")},
		{Area, only{Right, Swinging}, read("M 650 548 L 762 536 L 756 690 C 754 706 746 712 730 710 L 676 704 C 656 700 648 690 648 670 Z")},
		{Fine, only{Right, Swinging}, read("M 668 570 L 742 562 M 700 630 L 716 628")},
	},
	"frame": {
		{Area, nil, tube(30, "M 1510 405 C 1350 408 1150 430 905 470")},
		{Area, nil, tube(30, "M 905 470 L 852 930")},
		{Area, nil, tube(32, "M 1542 470 C 1480 610 1400 780 1358 890 C 1336 945 1310 980 1250 980 L 870 980")},
		{Area, nil, taper(54, 54, "M 1486 340 L 1556 478")},
		{Line, nil, read("M 1463 352 L 1510 328 M 1532 490 L 1580 466")},
		{Area, stiff, tube(24, "M 898 500 C 760 560 560 690 414 780")},
		{Area, stiff, tube(26, "M 872 975 C 720 940 560 862 414 810")},
		{Area, swinging, tube(26, "M 898 486 C 760 500 580 480 440 470")},
		{Area, swinging, tube(24, "M 858 850 C 760 700 640 560 560 486")},
		// Engine plates.
		{Area, nil, read("M 846 800 L 1100 770 L 1100 970 L 840 970 Z")},
		{Area, nil, read("M 1290 790 L 1404 770 L 1362 890 L 1310 920 Z")},
		// Footrest, and the stand folded up.
		{Area, left, taper(20, 16, "M 880 990 C 780 1030 700 1050 600 1046")},
		{Area, left, circle(1080, 1036, 24)},
		{Fine, left, circle(1080, 1036, 12)},
	},
	"rear-suspension": {
		{Area, plunger, tube(54, "M 400 640 L 400 950")},
		{Line, plunger, coil(Point{400, 664}, Point{400, 760}, 44, 5)},
		{Line, plunger, coil(Point{400, 836}, Point{400, 930}, 44, 5)},
		{Area, plunger, circle(rearX, rearY, 34)},
		{Area, swinging, tube(30, "M 864 866 C 720 850 560 820 396 800")},
		{Area, swinging, circle(866, 866, 26)},
		{Area, swinging, tube(58, "M 470 486 L 424 640")},
		{Area, swinging, tube(40, "M 424 640 L 404 708")},
		{Line, swinging, coil(Point{424, 640}, Point{404, 712}, 56, 4)},
		{Line, swinging, read("M 404 712 L 396 780")},
		{Area, swinging, circle(398, 786, 20)},
	},
	"lubrication": {
		{Area, right, read("M 768 520 C 768 508 776 500 790 498 L 900 488 C 916 487 926 494 926 510 L 916 690 C 914 706 904 712 890 710 L 806 702 C 788 700 776 690 775 672 Z")},
		{Fine, right, read("M 788 540 L 908 530")},
		{Area, right, read("M 806 470 L 850 466 L 852 498 L 808 502 Z")},
		{Line, right, read("M 880 710 C 900 790 1010 800 1100 905 M 860 708 C 880 800 1000 820 1090 930")},
	},
	"ignition": {
		{Area, right, read("M 940 690 C 940 676 950 668 964 668 L 1040 668 C 1056 668 1064 676 1064 690 L 1064 776 L 940 776 Z")},
		{Area, right, circle(1002, 726, 38)},
		{Fine, right, circle(1002, 726, 24)},
		{Line, right, read("M 1010 668 C 1010 630 1046 520 1120 520")},
		{Line, right, read("M 986 690 L 1018 762")},
	},
	"engine-bottom": {
		{Area, nil, read("M 1068 752 L 1296 752 C 1320 790 1330 850 1316 900 C 1300 950 1250 976 1180 976 C 1110 976 1060 950 1050 900 C 1040 850 1050 790 1068 752 Z")},
		{Area, right, read("M 1092 868 C 1080 800 1020 770 1010 720 C 1040 690 1080 700 1100 740 C 1130 772 1170 770 1210 776 C 1260 786 1282 830 1274 880 C 1266 926 1230 950 1184 950 C 1130 950 1100 920 1092 868 Z")},
		{Fine, right, circle(1186, 868, 46)},
		{Fine, right, circle(1116, 764, 10)},
		{Fine, right, read("M 1062 926 L 1090 938 M 1300 790 L 1312 850")},
		{Area, right, read("M 1136 958 L 1236 958 L 1228 990 L 1144 990 Z")},
		{Area, left, circle(1186, 868, 70)},
	},
	"engine-top": {
		{Area, nil, read("M 1106 612 L 1258 612 L 1258 752 L 1106 752 Z")},
		{Area, single, read("M 1098 604 C 1090 560 1100 528 1122 522 L 1240 522 C 1264 528 1274 560 1266 604 Z")},
		{Area, twin, read("M 1092 604 L 1090 540 L 1274 540 L 1272 604 Z")},
		{Line, nil, read("M 1090 736 L 1274 736 M 1086 718 L 1278 718 M 1084 700 L 1280 700 M 1082 682 L 1282 682 M 1082 664 L 1282 664 M 1082 646 L 1282 646 M 1082 628 L 1282 628")},
		{Line, single, read("M 1082 604 L 1282 604 M 1082 586 L 1282 586 M 1084 568 L 1280 568 M 1090 550 L 1274 550 M 1104 534 L 1258 534")},
		{Line, twin, read("M 1076 604 L 1288 604 M 1076 588 L 1288 588 M 1078 572 L 1286 572 M 1082 556 L 1282 556")},
		{Area, single, read("M 1112 522 C 1108 490 1128 472 1160 472 L 1214 472 C 1244 474 1256 490 1252 522 Z")},
		{Fine, single, circle(1150, 498, 13)},
		{Fine, single, circle(1216, 498, 13)},
		{Area, twin, read("M 1082 540 C 1080 502 1094 484 1122 484 C 1150 486 1158 506 1158 540 Z")},
		{Area, twin, read("M 1206 540 C 1206 506 1216 486 1242 484 C 1270 484 1284 502 1282 540 Z")},
		{Fine, twin, circle(1121, 512, 13)},
		{Fine, twin, circle(1243, 512, 13)},
		{Area, only{Single, Right}, tube(16, "M 1150 524 L 1156 766")},
		{Area, only{Single, Right}, tube(16, "M 1186 524 L 1184 766")},
		{Area, only{Twin, Right}, tube(18, "M 1182 560 L 1182 752")},
	},
	"gearbox": {
		{Area, right, read("M 836 870 C 836 800 884 776 950 780 C 1020 784 1062 816 1060 872 C 1058 930 1010 962 946 962 C 880 962 836 934 836 870 Z")},
		{Area, right, read("M 860 870 C 860 826 896 804 948 806 C 1000 808 1034 832 1034 872 C 1032 916 996 938 948 938 C 896 938 860 916 860 870 Z")},
		{Fine, right, circle(1010, 850, 9)},
		{Fine, right, circle(884, 900, 9)},
		// Kick starter and gear lever.
		{Area, right, circle(900, 850, 22)},
		{Area, right, taper(26, 20, "M 900 850 C 860 800 836 740 824 690")},
		{Area, right, tube(30, "M 790 682 L 858 680")},
		{Area, right, circle(986, 892, 18)},
		{Area, right, taper(18, 14, "M 986 892 C 1040 900 1080 902 1126 888")},
		{Area, right, tube(24, "M 1118 889 L 1160 886")},
		// The rear chain with its guard.
		{Area, left, ring(rearX, rearY, 96, 82)},
		{Line, left, read("M 392 699 L 900 836 M 392 891 L 900 924")},
		{Fine, left, read("M 394 710 L 896 846 M 394 880 L 896 912")},
		{Area, left, read("M 300 700 C 330 666 380 660 430 670 L 880 796 L 872 826 L 430 708 C 380 696 340 704 320 730 Z")},
	},
	"primary": {
		{Area, left, read("M 1186 756 C 1262 756 1304 806 1304 868 C 1304 932 1262 980 1186 980 C 1110 982 1030 1010 940 1010 C 856 1010 800 960 800 884 C 800 806 858 756 940 756 C 1030 756 1110 756 1186 756 Z")},
		{Fine, left, read("M 1186 774 C 1250 774 1286 816 1286 868 C 1286 922 1250 962 1186 962 C 1110 964 1030 992 940 992 C 868 992 818 950 818 884 C 818 818 868 774 940 774 C 1030 774 1110 774 1186 774 Z")},
		{Area, left, circle(940, 884, 88)},
		{Fine, left, circle(940, 884, 66)},
		{Fine, left, circle(1186, 868, 34)},
		{Fine, left, circle(1076, 800, 9)},
		{Fine, left, circle(1076, 960, 9)},
	},
	"exhaust": {
		{Area, right, tube(44, "M 1262 556 C 1370 536 1424 600 1406 720 C 1388 850 1372 1012 1220 1018 C 1100 1022 960 1018 812 1000")},
		{Area, right, silencer(0)},
		{Fine, right, read("M 776 958 C 640 934 520 922 396 922")},
		{Area, right, tube(56, "M 1258 556 L 1284 552")},
		{Area, only{Left, Twin}, tube(44, "M 1262 556 C 1370 536 1424 600 1406 720 C 1388 850 1372 1012 1220 1040 C 1100 1046 960 1038 812 1018")},
		{Area, only{Left, Twin}, silencer(18)},
		{Area, only{Left, Twin}, tube(56, "M 1258 556 L 1284 552")},
	},
	"fuel": {
		// Inlet stub, carburettor and its float chamber.
		{Area, nil, tube(40, "M 1102 562 L 1040 568")},
		{Area, nil, read("M 994 514 L 1044 510 L 1048 626 L 1000 630 Z")},
		{Area, nil, read("M 992 496 L 1044 492 L 1044 514 L 994 518 Z")},
		{Area, nil, read("M 946 560 L 990 556 L 994 640 L 952 644 Z")},
		{Line, nil, read("M 1000 496 L 1000 480 M 1060 460 C 1060 500 968 500 966 558")},
		// The tank.
		{Area, nil, read("M 1486 398 C 1484 330 1420 286 1318 282 C 1190 278 1064 326 988 400 C 970 420 974 440 1004 446 C 1120 468 1290 470 1400 462 C 1456 458 1486 440 1486 398 Z")},
		{Fine, nil, read("M 1468 394 C 1462 344 1404 304 1318 300 C 1200 296 1086 340 1010 406 C 1000 416 1004 424 1020 428 C 1130 448 1290 452 1398 444 C 1444 440 1468 428 1468 394 Z")},
		{Area, nil, read("M 1062 402 C 1070 366 1122 340 1184 344 C 1206 346 1214 360 1208 380 C 1200 408 1180 424 1146 426 L 1084 424 C 1066 422 1058 416 1062 402 Z")},
		{Fine, nil, read("M 1090 408 C 1096 386 1130 366 1180 366")},
		{Area, nil, read("M 1290 262 L 1366 262 C 1372 262 1374 284 1366 286 L 1290 286 C 1282 284 1284 262 1290 262 Z")},
	},
	"fork": {
		{Area, only{Telescopic}, tube(44, "M 1704 602 L 1796 784")},
		{Area, only{Telescopic}, tube(60, "M 1626 450 L 1712 620")},
		{Area, only{Telescopic}, tube(68, "M 1564 322 L 1634 466")},
		{Fine, only{Telescopic}, read("M 1676 622 L 1738 590")},
		{Area, only{Telescopic}, circle(frontX, frontY, 26)},
		{Area, only{Girder}, taper(34, 28, "M 1592 350 C 1650 480 1740 650 1800 795")},
		{Area, only{Girder}, tube(22, "M 1590 470 C 1630 570 1710 690 1796 790")},
		{Area, only{Girder}, tube(22, "M 1500 352 L 1600 372")},
		{Area, only{Girder}, tube(22, "M 1566 486 L 1652 500")},
		{Line, only{Girder}, coil(Point{1552, 366}, Point{1604, 490}, 52, 6)},
		{Area, only{Girder}, circle(1600, 372, 15)},
		{Area, only{Girder}, circle(1652, 500, 15)},
		{Area, only{Girder}, circle(frontX, frontY, 26)},
		// Yokes, and the handlebar.
		{Area, nil, tube(26, "M 1474 330 L 1596 302")},
		{Area, only{Telescopic}, tube(28, "M 1540 492 L 1664 466")},
		{Area, nil, tube(24, "M 1530 312 C 1536 262 1528 216 1490 198 C 1440 178 1370 192 1276 222")},
		{Area, nil, circle(1530, 300, 20)},
	},
	"electrical": {
		{Area, nil, read("M 1752 300 C 1690 296 1622 330 1620 384 C 1622 438 1690 470 1752 468 Z")},
		{Area, nil, read("M 1752 292 C 1762 290 1768 294 1770 302 L 1776 462 C 1776 472 1766 478 1752 476 Z")},
		{Line, nil, read("M 1770 302 C 1794 340 1798 420 1776 462")},
		{Area, nil, read("M 1556 262 C 1560 240 1572 226 1592 222 C 1616 222 1634 240 1634 262 L 1612 290 L 1572 288 Z")},
		{Fine, nil, read("M 1562 250 L 1628 250")},
		// Tail lamp, battery, and horn.
		{Area, nil, read("M 58 590 L 92 578 L 100 626 L 66 634 C 54 632 50 594 58 590 Z")},
		{Area, left, read("M 776 520 L 916 508 L 916 706 L 784 712 Z")},
		{Area, left, read("M 770 496 L 920 484 L 920 510 L 772 522 Z")},
		{Line, left, read("M 846 490 L 850 710")},
		{Area, nil, circle(1484, 560, 40)},
		{Fine, nil, circle(1484, 560, 26)},
	},
	"controls": {
		{Area, nil, taper(36, 40, "M 1408 190 C 1370 196 1320 208 1268 226")},
		{Fine, nil, lines(1388, 178, 1394, 208, 1362, 184, 1368, 214, 1336, 190, 1342, 222, 1310, 198, 1318, 232)},
		{Area, nil, taper(20, 12, "M 1462 200 C 1430 240 1370 258 1300 268")},
		{Area, nil, circle(1456, 196, 22)},
		{Line, only{Telescopic}, read("M 1474 190 C 1530 168 1596 176 1608 232 C 1616 290 1640 420 1662 480 C 1700 580 1730 640 1716 700")},
		{Line, only{Girder}, read("M 1474 190 C 1530 168 1596 176 1600 232 C 1604 290 1560 420 1600 500 C 1660 600 1720 640 1716 700")},
		{Line, nil, read("M 1440 182 C 1500 142 1572 170 1566 236 C 1562 280 1520 300 1488 322")},
	},
}

// touch are the fields that stand for each group under a finger, the main one
// first. A main field is a whole finger wide and high and meets no field of
// another group; the others only help.
var touch = map[string][]field{
	"wheels": {{nil, Rect{1600, 916, 400, 242}}, {nil, Rect{1922, 560, 222, 355}}, {nil, Rect{40, 720, 243, 420}},
		{right, Rect{284, 720, 256, 139}}, {nil, Rect{284, 962, 241, 180}}},
	"brakes":          {{nil, Rect{1679, 674, 242, 241}}, {left, Rect{284, 720, 241, 241}}},
	"tinware":         {{stiff, Rect{560, 250, 400, 241}}, {swinging, Rect{400, 236, 560, 241}}, {nil, Rect{40, 415, 259, 304}}, {only{Right, Rigid, Plunger}, Rect{560, 734, 269, 125}}},
	"frame":           {{nil, Rect{1371, 430, 241, 241}}},
	"rear-suspension": {{only{Plunger, Swinging}, Rect{300, 478, 241, 241}}},
	"lubrication":     {{right, Rect{646, 492, 242, 241}}},
	"ignition":        {{right, Rect{888, 601, 241, 241}}},
	"engine-bottom":   {{right, Rect{1131, 752, 241, 241}}},
	"engine-top":      {{nil, Rect{1130, 492, 241, 259}}},
	"gearbox":         {{right, Rect{830, 843, 300, 241}}, {left, Rect{550, 676, 249, 242}}},
	"primary":         {{left, Rect{800, 752, 520, 260}}},
	"exhaust": {{right, Rect{541, 860, 288, 241}}, {only{Left, Twin}, Rect{526, 919, 273, 241}}, {right, Rect{1131, 994, 290, 70}},
		{right, Rect{1373, 672, 70, 322}}, {only{Left, Twin}, Rect{1373, 672, 70, 350}}},
	"fuel":       {{nil, Rect{962, 249, 310, 241}}, {nil, Rect{889, 491, 240, 109}}, {nil, Rect{1273, 322, 215, 107}}},
	"fork":       {{nil, Rect{1613, 431, 241, 242}}},
	"electrical": {{nil, Rect{1600, 185, 260, 245}}, {left, Rect{646, 492, 242, 183}}},
	"controls":   {{nil, Rect{1273, 80, 320, 241}}},
}
