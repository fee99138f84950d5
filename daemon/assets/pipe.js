// The interval drawn true to depth: groove against wall, its uncertainty, couplings, the wheels.

export function drawPipe(canvas, job, bins, wheels, show) {
  const ratio = window.devicePixelRatio || 1;
  const width = 360;
  const height = 640;
  if (canvas.width !== width * ratio) {
    canvas.width = width * ratio;
    canvas.height = height * ratio;
  }
  const style = getComputedStyle(document.documentElement);
  const colour = (name) => style.getPropertyValue(name).trim();
  const paint = canvas.getContext("2d");
  paint.setTransform(ratio, 0, 0, ratio, 0, 0);
  paint.clearRect(0, 0, width, height);
  const left = 90;
  const right = width - 20;
  const y = (depth) => 20 + (depth - job.interval_top_m) / (job.interval_bottom_m - job.interval_top_m) * (height - 60);
  const most = Math.max(job.wall_mm, ...bins.map((bin) => bin.wall_mm));
  const x = (depth) => left + Math.min(depth / most, 1) * (right - left);
  paint.font = "14px system-ui, sans-serif";

  paint.fillStyle = colour("--pale");
  for (const depth of job.couplings_m) {
    const top = y(depth - job.coupling_length_m / 2);
    paint.fillRect(left, top, right - left, Math.max(3, y(depth + job.coupling_length_m / 2) - top));
  }
  for (const bin of bins) {
    const top = y(bin.top_m);
    const tall = Math.max(1, y(bin.bottom_m) - top - 0.5);
    paint.fillStyle = bin.through ? colour("--ink") : colour("--cut");
    paint.fillRect(left, top, x(bin.depth_mm) - left, tall);
    paint.fillStyle = colour("--mid");
    paint.fillRect(x(bin.low_mm), top + tall / 2, Math.max(1, x(bin.high_mm) - x(bin.low_mm)), 1);
  }
  paint.strokeStyle = colour("--ink");
  paint.strokeRect(left, y(job.interval_top_m), right - left, y(job.interval_bottom_m) - y(job.interval_top_m));

  paint.fillStyle = colour("--ink");
  for (let n = 0; n <= 5; n += 1) {
    const depth = job.interval_top_m + (job.interval_bottom_m - job.interval_top_m) * n / 5;
    paint.fillText(show.toLength(depth).toFixed(1), 5, y(depth) + 5);
  }
  paint.fillText(`0`, left, height - 18);
  paint.fillText(`wall ${show.asWall(most)}; black: split`, left + 60, height - 18);
  if (wheels !== null) {
    const mark = Math.min(Math.max(y(wheels), 12), height - 34);
    paint.beginPath();
    paint.moveTo(left - 4, mark);
    paint.lineTo(left - 20, mark - 8);
    paint.lineTo(left - 20, mark + 8);
    paint.fill();
  }
}
