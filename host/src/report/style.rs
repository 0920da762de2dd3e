//! The style sheet of the page. Everything is inside the file: no fonts, scripts or pictures
//! from elsewhere. Light and dark follow the reader's system; on paper it is always light.

/// The style sheet.
pub(crate) const STYLE: &str = r#"
:root{color-scheme:light dark;--bg:#fbfaf7;--fg:#1d1f23;--soft:#5a6068;--rule:#cfd2d6;--card:#fff;
--nw:#1f5fae;--ng:#a3470b;--gw:#1f7a46;--bad:#a4161a;--bad-bg:#fdeaea;--good:#1b6b3a;--warn:#7a5200;
--warn-bg:#fdf3dc;--lit:#d79b00;--grid:#e2e4e7}
@media(prefers-color-scheme:dark){:root{--bg:#14161a;--fg:#e7e9ec;--soft:#a5acb5;--rule:#3b4048;
--card:#1c1f24;--nw:#7db4f5;--ng:#f2a267;--gw:#74d29b;--bad:#ff8f8f;--bad-bg:#3a1b1d;--good:#7fd6a0;
--warn:#f0c869;--warn-bg:#332a14;--lit:#f2c14e;--grid:#2c3037}}
*{box-sizing:border-box}
body{margin:0;background:var(--bg);color:var(--fg);font:16px/1.5 system-ui,-apple-system,"Segoe UI",
Roboto,"Noto Sans",sans-serif;-webkit-text-size-adjust:100%}
main{max-width:64rem;margin:0 auto;padding:1rem}
h1{font-size:1.7rem;line-height:1.2;margin:.5rem 0}
h2{font-size:1.3rem;line-height:1.25;margin:0}
h3{font-size:1.05rem;margin:1.1rem 0 .2rem}
h4{font-size:1rem;margin:.8rem 0 .2rem}
p{margin:.4rem 0}
ul{margin:.3rem 0;padding-left:1.3rem}
a{color:inherit}
.soft{color:var(--soft)}
.caution,.danger,.mild{border-left:.35rem solid var(--warn);background:var(--warn-bg);padding:.5rem .8rem;
margin:.7rem 0;border-radius:.2rem}
.mild{border-color:var(--rule);background:none}
.danger{border-color:var(--bad);background:var(--bad-bg)}
dl.meta{display:grid;grid-template-columns:max-content 1fr;gap:.1rem 1rem;margin:.8rem 0}
dl.meta dt{color:var(--soft)}
dl.meta dd{margin:0;overflow-wrap:anywhere}
.scroll{overflow-x:auto}
table{border-collapse:collapse;width:100%;font-variant-numeric:tabular-nums}
caption{text-align:left;font-weight:600;padding:.2rem 0}
th,td{text-align:left;vertical-align:top;padding:.3rem .6rem .3rem 0;border-top:1px solid var(--rule)}
thead th{border-top:0;color:var(--soft);font-weight:600;white-space:nowrap}
td.num,th.num{text-align:right;white-space:nowrap}
article{background:var(--card);border:1px solid var(--rule);border-radius:.5rem;padding:1rem;
margin:1.2rem 0}
.headline{display:flex;flex-wrap:wrap;gap:.4rem .8rem;align-items:baseline;
justify-content:space-between}
.outcome{display:inline-block;font-weight:700;border:2px solid currentColor;border-radius:.3rem;
padding:.05rem .5rem;white-space:nowrap}
td .outcome{border-width:1px;padding:0 .35rem;font-size:.85rem}
.o-proven{color:var(--good)}.o-fault{color:var(--bad)}
.o-danger{color:#fff;background:#a4161a;border-color:#a4161a}
.o-cannot-tell,.o-tester-fault{color:var(--warn)}
.columns{display:grid;grid-template-columns:1fr;gap:0 2rem}
.columns>*{min-width:0}
@media(min-width:52rem){.columns{grid-template-columns:1fr 1fr}}
.finding{border-top:1px solid var(--rule);margin-top:.8rem}
.finding:first-child{border-top:0;margin-top:0}.finding:first-child h3{margin-top:.2rem}
.number{color:var(--soft);font-weight:400;font-variant-numeric:tabular-nums}
.next{border-left:.35rem solid var(--rule);padding:.1rem 0 .1rem .8rem;margin:.6rem 0}
.lamps{font-size:.95rem}
.lamps th{font-weight:400}
.lamps td{white-space:nowrap}
.lamps td:last-child{white-space:normal;padding-right:0}
.strip{width:5.1rem;height:.9rem;vertical-align:middle}
.strip .off{fill:none;stroke:var(--soft);stroke-width:1}
.strip .lit{fill:var(--lit)}
.fast-pulse .lit{fill:var(--bad)}
figure.wave{margin:.8rem 0}
figure.wave>svg{display:block;width:100%;height:auto;max-width:36rem}
svg path{fill:none}
svg .nw{stroke:var(--nw);stroke-width:5;opacity:.5}
svg .ng{stroke:var(--ng);stroke-width:1.8;stroke-dasharray:9 5}
svg .gw{stroke:var(--gw);stroke-width:2.6;stroke-dasharray:.1 5.5;stroke-linecap:round}
svg .grid{stroke:var(--grid);stroke-width:1}
svg .zero{stroke:var(--soft);stroke-width:1}
svg text{fill:var(--soft);font-size:13px;font-family:inherit}
figcaption{display:flex;flex-wrap:wrap;gap:.2rem 1.2rem;font-size:.9rem}
.key svg{width:2.75rem;height:.65rem;vertical-align:middle;margin-right:.4rem}
.evidence th{font-weight:400;color:var(--soft);width:11rem}
@media(max-width:34rem){.evidence,.evidence caption,.evidence tbody,.evidence tr,.evidence th,.evidence td{display:block;
width:auto}.evidence td{border-top:0;padding-top:0}.evidence th{padding-bottom:0}
main{padding:.6rem}article{padding:.7rem}.lamps{font-size:.85rem}.strip{width:3.4rem}
table.over thead{display:none}table.over,.over tbody,.over tr,.over td{display:block;width:auto}
.over tr{border-top:1px solid var(--rule);padding:.5rem 0}.over td{border:0;padding:.05rem 0}
.over td.num{text-align:left;display:inline-block;margin-right:.9rem}
.over td[data-name]::before{content:attr(data-name) " ";color:var(--soft)}}
@media print{:root{color-scheme:light;--bg:#fff;--fg:#000;--soft:#444;--rule:#999;--card:#fff;
--nw:#1f5fae;--ng:#8a3a06;--gw:#14602f;--bad:#8f1115;--bad-bg:#fff;--good:#14532d;--warn:#5c3d00;
--warn-bg:#fff;--lit:#555;--grid:#ccc}
body{font-size:10.5pt}.lamps{font-size:8.5pt}.strip{width:3.4rem}main{max-width:none;padding:0}
article{border:0;border-top:2px solid #000;border-radius:0;padding:.6rem 0;break-before:page}
.columns{grid-template-columns:1fr 1fr}
figure,table.lamps,.finding,.danger,.caution{break-inside:avoid}
.strip .lit,.o-danger{print-color-adjust:exact;-webkit-print-color-adjust:exact}
.scroll{overflow:visible}a{text-decoration:none}}
"#;
