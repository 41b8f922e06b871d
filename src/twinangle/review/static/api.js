// Requests to this page's own server, and nowhere else.
async function told(answer) {
  let body = null;
  try { body = await answer.json(); } catch { body = {}; }
  if (!answer.ok) throw new Error(body.error || `${answer.status}`);
  return body;
}

export async function get(address) {
  return told(await fetch(address));
}

export async function post(address, body) {
  return told(await fetch(address, {
    method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body),
  }));
}

export async function binary(address) {
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(`${answer.status}`);
  return new Float32Array(await answer.arrayBuffer());
}
