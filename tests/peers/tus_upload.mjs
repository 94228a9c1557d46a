// Sends a photo to a depot with tus-js-client, a tus 1.0.0 client that knows nothing of ours.
//
//     npm install --no-save tus-js-client@4.3.1     in the folder from which this is run
//     node tests/peers/tus_upload.mjs URL TOKEN FILE [--chunk=BYTES] [--with-hash] [--with-body] [--override] [--break-after=BYTES]
//
// --with-body uses creation-with-upload, --override sends POST with X-HTTP-Method-Override. Prints one JSON document.
import { createHash } from "node:crypto";
import { createReadStream, readFileSync, statSync } from "node:fs";
import { createRequire } from "node:module";
import { basename, resolve } from "node:path";

const tus = createRequire(resolve("package.json"))("tus-js-client");
const [url, token, file, ...rest] = process.argv.slice(2);
const option = (name) => rest.find((text) => text === `--${name}` || text.startsWith(`--${name}=`))?.split("=")[1];
const has = (name) => rest.some((text) => text === `--${name}` || text.startsWith(`--${name}=`));
const sha256 = createHash("sha256").update(readFileSync(file)).digest("hex");
const size = statSync(file).size;
const breakAfter = Number(option("break-after") ?? 0);

function upload(uploadUrl) {
  return new Promise((done, failed) => {
    const up = new tus.Upload(createReadStream(file), {
      endpoint: uploadUrl ? undefined : `${url}/v1/photos`,
      uploadUrl,
      uploadSize: size,
      chunkSize: Number(option("chunk") ?? 1 << 20),
      headers: { Authorization: `Bearer ${token}` },
      metadata: { filename: basename(file), ...(has("with-hash") ? { sha256 } : {}) },
      uploadDataDuringCreation: has("with-body"),
      overridePatchMethod: has("override"),
      retryDelays: [100, 200, 400],
      onError: failed,
      onSuccess: () => done(up),
      onChunkComplete: (_, accepted) => {
        if (breakAfter && !uploadUrl && accepted >= breakAfter) up.abort().then(() => done(up), failed);
      },
    });
    up.start();
  });
}

let up = await upload();
if (breakAfter) up = await upload(up.url);
console.log(JSON.stringify({ sha256, location: up.url }));
